package report

import (
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose"
	"loopfault/diagnose/report/draw"
)

// requireOracles makes a missing outside tool a failure instead of a skip.
const requireOracles = "LOOPFAULT_REQUIRE_ORACLES"

// browser starts a headless browser, and hears of everything that goes wrong in
// a page.
func browser(t *testing.T) (ctx context.Context, complaints func() []string) {
	t.Helper()
	if testing.Short() {
		t.Skip("starts a browser")
	}
	var path string
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		if os.Getenv(requireOracles) == "1" {
			t.Fatal("no chromium, and " + requireOracles + " is set")
		}
		t.Skip("no chromium")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox)
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 2*time.Minute)
	t.Cleanup(cancel)
	var mutex sync.Mutex
	var heard []string
	require.NoError(t, chromedp.Listen(ctx, func(event any) {
		mutex.Lock()
		defer mutex.Unlock()
		switch e := event.(type) {
		case *runtime.EventConsoleAPICalled:
			heard = append(heard, "console: "+string(e.Type))
		case *runtime.EventExceptionThrown:
			heard = append(heard, "exception: "+e.ExceptionDetails.Text)
		case *log.EventEntryAdded:
			heard = append(heard, "log: "+e.Entry.Text)
		case *cdppage.EventJavascriptDialogOpening:
			heard = append(heard, "dialog: "+e.Message)
		}
	}))
	_, err := chromedp.Call(ctx, log.Enable, cdp.Empty{})
	require.NoError(t, err)
	return ctx, func() []string {
		mutex.Lock()
		defer mutex.Unlock()
		return heard
	}
}

// open writes a page to a file of its own and goes there.
func open(t *testing.T, ctx context.Context, name, text string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), name+".html")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o644))
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("file://"+file)))
}

// ask evaluates a script of the test's own in the page.
func ask[T any](t *testing.T, ctx context.Context, script string, options ...chromedp.EvaluateOption) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](script, options...))
	require.NoError(t, err)
	return v
}

// media makes the page believe that it is printed, or with "" that it is not.
func media(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: name})
	require.NoError(t, err)
}

// overflow lists what sticks out of the page at the right, or out of its own
// drawing.
const overflow = `(() => {
  const out = [], wide = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth > wide) out.push("page " + document.documentElement.scrollWidth + " > " + wide);
  for (const e of document.querySelectorAll("body *")) {
    const s = getComputedStyle(e);
    if (s.display === "none" || s.clipPath !== "none" || e.closest("svg") && e.tagName !== "svg" || e.closest("thead")) continue;
    const r = e.getBoundingClientRect();
    if (r.width > 0 && r.right > wide + 1) out.push(e.tagName + "." + e.className + ": " + e.textContent.slice(0, 40));
  }
  for (const svg of document.querySelectorAll("svg[role=img]")) {
    const v = svg.viewBox.baseVal;
    for (const e of svg.querySelectorAll("text")) {
      const b = e.getBBox();
      if (b.x < -0.5 || b.x + b.width > v.width + 0.5 || b.y < -0.5 || b.y + b.height > v.height + 0.5) out.push("drawing: " + e.textContent);
    }
  }
  return out;
})()`

// smallest is the least size of letters in a drawing, in pixels on the screen.
const smallest = `Math.min(...[...document.querySelectorAll("svg[role=img] text")].map(e => {
  const svg = e.closest("svg");
  return parseFloat(getComputedStyle(e).fontSize) * svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
}))`

// A4 less the margins of the page's own style, at 96 pixels an inch.
const a4Pixels = int64((210 - 2*14) * 960 / 254)

func pages(t *testing.T) map[string]string {
	t.Helper()
	out := map[string]string{}
	add := func(name string, r *Record) {
		text, err := r.HTML()
		require.NoError(t, err)
		out[name] = text
	}
	add("by hand", hand(t))
	add("hostile", spoil(hand(t)))
	add("technician", record(t, springCall(t, diagnose.Technician), Options{Currency: "USD", Date: "2026-11-25"}))
	add("mended", record(t, mended(t, diagnose.Homeowner), Options{Date: "2026-11-25"}))
	add("stopped", record(t, until(t, diagnose.Homeowner, 4, say("loop-ohms", "volts-found")), Options{Date: "2026-11-25"}))
	add("not proved", record(t, until(t, diagnose.Technician, 8, repair("replace-section", true, 290, 320)), Options{Currency: "USD"}))
	add("nothing", record(t, &diagnose.Case{Role: diagnose.Support}, Options{}))
	return out
}

func TestPageInABrowser(t *testing.T) {
	ctx, complaints := browser(t)
	for name, text := range pages(t) {
		t.Run(name, func(t *testing.T) {
			open(t, ctx, "report", text)
			handlers := ask[int](t, ctx, `document.scripts.length + [...document.querySelectorAll("*")].filter(e => [...e.attributes].some(a => a.name.startsWith("on"))).length`)
			assert.Zero(t, handlers, "scripts and handlers")
			outside := ask[int](t, ctx, `performance.getEntriesByType("resource").length + document.querySelectorAll("img, link, iframe, object, a").length`)
			assert.Zero(t, outside, "anything from outside")
			assert.False(t, ask[bool](t, ctx, `"owned" in window`), "text ran as script")
			assert.Positive(t, ask[int](t, ctx, `document.querySelectorAll("svg[role=img]").length`))

			for _, width := range []int64{360, 768, 1280} {
				require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 900)))
				assert.Empty(t, ask[[]string](t, ctx, overflow), "at %d pixels", width)
			}
			require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(360, 900)))
			assert.GreaterOrEqual(t, ask[float64](t, ctx, smallest), 9.5, "letters of the drawings on a telephone, pixels")

			media(t, ctx, "print")
			require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(a4Pixels, 1000)))
			assert.Empty(t, ask[[]string](t, ctx, overflow), "on A4")
			media(t, ctx, "")
			pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize(), chromedp.PDFPrintBackground()))
			require.NoError(t, err)
			// A page of a PDF is an object of this type (ISO 32000-1, 7.7.3.3).
			sheets := len(regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(pdf, -1))
			if name != "hostile" { // whose every line is long
				assert.LessOrEqual(t, sheets, 2)
			}
			assert.Positive(t, sheets)
		})
	}
	assert.Empty(t, complaints(), "what the browser said")
}

// The page's own policy forbids scripts even where one gets in.
func TestPageForbidsScripts(t *testing.T) {
	ctx, _ := browser(t)
	text, err := hand(t).HTML()
	require.NoError(t, err)
	open(t, ctx, "planted", text+"<script>window.owned = 1</script>")
	assert.False(t, ask[bool](t, ctx, `"owned" in window`))
}

// axeEnv names the file axe.min.js of the npm package axe-core, where it is there.
const axeEnv = "LOOPFAULT_AXE"

func TestPageIsAccessible(t *testing.T) {
	axe, err := os.ReadFile(os.Getenv(axeEnv))
	if err != nil {
		t.Skip(axeEnv + " does not name axe.min.js of the npm package axe-core")
	}
	ctx, _ := browser(t)
	for name, text := range pages(t) {
		if name == "hostile" {
			continue
		}
		_, err := chromedp.Call(ctx, cdppage.SetBypassCSP, cdppage.SetBypassCSPParams{Enabled: true}) // for axe's own script
		require.NoError(t, err)
		open(t, ctx, "report", text)
		require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(1280, 900), chromedp.Evaluate[chromedp.Void](string(axe))))
		result := ask[string](t, ctx, `axe.run().then(r => JSON.stringify(r.violations.map(v => [v.id, v.help, v.nodes.map(n => n.html.slice(0, 120))])))`,
			chromedp.EvalAwaitPromise)
		var violations []json.RawMessage
		require.NoError(t, json.Unmarshal([]byte(result), &violations))
		assert.Empty(t, violations, "%s: %s", name, result)
	}
}

// The inks of the drawings and of the page keep the contrast that WCAG 2.1 asks
// of letters, 4.5 to 1 (success criterion 1.4.3), and the belief's levels grow
// darker in grey.
func TestInks(t *testing.T) {
	for name, colour := range draw.LetterInks() {
		assert.GreaterOrEqual(t, contrast(colour, "#ffffff"), 4.5, name)
	}
	last := 1.0
	for _, colour := range draw.HeatInks() {
		l := luminance(colour)
		assert.Less(t, l, last, "a more believed stretch is darker in grey")
		last = l
	}
}
