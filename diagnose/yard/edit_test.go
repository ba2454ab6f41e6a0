package yard

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"loopfault/diagnose/quantity"
)

func TestUpdateKeepsTheOwnersFile(t *testing.T) {
	const ft = quantity.MPerFt
	splices := []Feature{
		{FromM: 306 * ft, ToM: 306 * ft, Kind: Splice, Note: "repair of 2026-11-25"},
		{FromM: 312 * ft, ToM: 312 * ft, Kind: Splice, Note: "repair of 2026-11-25"},
	}
	item1 := `{at: 306 ft, kind: splice, note: "repair of 2026-11-25"}`
	item2 := `{at: 312 ft, kind: splice, note: "repair of 2026-11-25"}`
	item1, item2 = strings.ReplaceAll(item1, `"`, ""), strings.ReplaceAll(item2, `"`, "")
	base := &Baseline{Date: "2026-11-25", LoopOhms: &Reading{Value: 6.1}}
	line := `baseline: {date: 2026-11-25, loop-ohms: 6.1 ohm}`

	for name, c := range map[string]struct{ before, after string }{
		"block list and block baseline": {
			before: "# my yard\nyard: one   # the name\n\nfeatures: # what is there\n  - {at: 150 ft, kind: splice} # old\n  # a remark at the end\n\n# readings\nbaseline:\n  # by the meter\n  loop-ohms: 5.9 ohm\ninstalled: 2019\n",
			after: "# my yard\nyard: one   # the name\n\nfeatures: # what is there\n  - {at: 150 ft, kind: splice} # old\n  - " + item1 + "\n  - " + item2 +
				"\n  # a remark at the end\n\n# readings\n# before:\n# baseline:\n#   # by the meter\n#   loop-ohms: 5.9 ohm\n" + line + "\ninstalled: 2019\n",
		},
		"flow list over lines": {
			before: "features: [{at: 3 ft, kind: splice, note: \"a ] in a text\"}, # first\n  {at: 4 ft, kind: bed}, ]   # last\nyard: one",
			after:  "features: [{at: 3 ft, kind: splice, note: \"a ] in a text\"}, # first\n  {at: 4 ft, kind: bed}, " + item1 + ", " + item2 + " ]   # last\nyard: one\n" + line + "\n",
		},
		"an apostrophe is no quote": {
			before: "features: [{at: 3' 6\", kind: splice}]\nyard: one\n",
			after:  "features: [{at: 3' 6\", kind: splice}, " + item1 + ", " + item2 + "]\nyard: one\n" + line + "\n",
		},
		"empty list, unknown baseline": {
			before: "features: []\nbaseline: unknown # never\nyard: one\n",
			after:  "features: [" + item1 + ", " + item2 + "]\n" + line + "\nyard: one\n",
		},
		"unknown list": {
			before: "features: unknown\nyard: one\n",
			after:  "features: [" + item1 + ", " + item2 + "]\nyard: one\n" + line + "\n",
		},
		"nothing there, no newline at the end": {
			before: "yard: one",
			after:  "yard: one\nfeatures:\n  - " + item1 + "\n  - " + item2 + "\n" + line + "\n",
		},
		"block list at the left, at the end of the file": {
			before: "yard: one\nfeatures:\n- at: 150 ft\n  kind: splice",
			after:  "yard: one\nfeatures:\n- at: 150 ft\n  kind: splice\n- " + item1 + "\n- " + item2 + "\n" + line + "\n",
		},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := Update{Features: splices, Baseline: base}.Apply("y.yaml", []byte(c.before))
			require.NoError(t, err)
			assert.Equal(t, c.after, string(got))
			// The same with the line ends of another system.
			got, err = Update{Features: splices, Baseline: base}.Apply("y.yaml", []byte(strings.ReplaceAll(c.before, "\n", "\r\n")))
			require.NoError(t, err)
			if strings.Contains(c.before, "\n") {
				assert.Equal(t, strings.ReplaceAll(c.after, "\n", "\r\n"), string(got))
			}
		})
	}
}

func TestUpdateOfOurYards(t *testing.T) {
	for _, name := range []string{"orchard", "terrace", "unknown", "area-only", "close-runs"} {
		before := read(t, "../../testdata/yards/"+name+".yaml")
		add := Feature{FromM: 21, ToM: 21, Kind: Splice, Note: `it's "new": # yes`}
		after, err := Update{Features: []Feature{add}, Baseline: &Baseline{Date: "2026-11-25", LegAToEarth: &Reading{Over: true}}}.Apply(name, before)
		require.NoError(t, err, name)
		// Nothing of the owner's is gone: every line is there, if only as a comment.
		for l := range strings.Lines(string(before)) {
			l = strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(l), "unknown"))
			assert.Contains(t, string(after), l, name)
		}
		m, err := Parse(name, after)
		require.NoError(t, err)
		assert.Equal(t, "2026-11-25", m.Baseline.Date)
		assert.Contains(t, string(after), `it's \"new\": # yes`)
	}
}

func TestUpdateIsRefused(t *testing.T) {
	splice := []Feature{{FromM: 1e4, ToM: 1e4, Kind: Splice}}
	_, err := Update{Features: splice}.Apply("y.yaml", []byte("loop: {length: 100 m}\n"))
	assert.ErrorContains(t, err, "left as it was")
	_, err = Update{Features: splice}.Apply("y.yaml", []byte("{yard: one}\n"))
	assert.Error(t, err, "a file in one pair of braces")
	_, err = Update{}.Apply("y.yaml", []byte("yard: one\nloops: 3\n"))
	assert.ErrorContains(t, err, "y.yaml:2:1")
}
