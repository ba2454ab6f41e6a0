package faultmodel

import (
	"bufio"
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The circuit is checked against ngspice, an independent simulator, with the
// same sections on both sides. testdata/ngspice holds every netlist and what
// ngspice said of it, so that the check also runs where ngspice is absent;
// LOOPFAULT_REQUIRE_ORACLES=1 makes its absence a failure. After a change of the
// circuits, -update-ngspice writes both anew.
var updateNgspice = flag.Bool("update-ngspice", false, "write testdata/ngspice anew from ngspice itself")

// ngspiceTolerance is what the design promises.
const ngspiceTolerance = 1e-6

var ngspiceHz = []float64{0, 200, 1e3, 10e3, 20e3}

// trial is one circuit to be compared.
type trial struct {
	name   string
	faults []Fault
	hookup hookup
	earth  End
}

// trials are every fault of the wire alone and in pairs, wire off the terminals,
// and some with the transmitter on.
func trials() []trial {
	alone := []struct {
		name string
		f    Fault
	}{
		{"open-wet", Fault{Kind: Open, AtM: 61.5}},
		{"open-gel", Fault{Kind: Open, AtM: 118}},
		{"series", Fault{Kind: Series, AtM: 40}},
		{"leak", Fault{Kind: Leak, AtM: 97}},
		{"touch", Fault{Kind: Touch, AtM: 30, ToM: 140}},
		{"lead-short", Fault{Kind: LeadShort, AtM: 7}},
		{"arrester-short", Fault{Kind: ArresterShort}},
		{"arrester-open", Fault{Kind: ArresterOpen}},
		{"lead-open", Fault{Kind: Open, AtM: 165}},
	}
	out := []trial{{name: "healthy"}}
	for i, a := range alone {
		out = append(out, trial{name: a.name, faults: []Fault{a.f}})
		for _, b := range alone[i+1:] {
			out = append(out, trial{name: a.name + "+" + b.name, faults: []Fault{a.f, b.f}})
		}
		out = append(out, trial{name: a.name + "-driven", faults: []Fault{a.f}, hookup: transmitter, earth: EndA})
	}
	out = append(out,
		trial{name: "healthy-driven", hookup: transmitter, earth: EndB},
		trial{name: "loose-terminal-driven", faults: []Fault{{Kind: LooseTerminal}}, hookup: transmitter},
		trial{name: "outside-rating", faults: []Fault{{Kind: OutsideRating}}},
		trial{name: "three", faults: []Fault{alone[0].f, alone[2].f, alone[3].f}},
	)
	return out
}

// trialInstallation fixes every unknown at a plausible figure. The leakage is
// that of tired insulation: a simulator that factors a matrix loses the
// nanosiemens of good insulation beside the siemens of a metre of copper.
func trialInstallation(t trial) (*installation, *Loop) {
	l := DefaultLoop(12, 146)
	l.EarthedTerminal = t.earth
	m := DefaultMeters()
	p := newPrior(&l, &m)
	in := p.median
	in.insulationOhmM = 1e8
	in.cellM = 10
	for i, f := range t.faults {
		c := [2]contact{{value: 37}, {value: 12}}
		switch f.Kind {
		case Open:
			c = [2]contact{{value: 150, soil: true}, {value: 420, soil: true}}
			if f.AtM == 118 {
				c = [2]contact{{value: 3e6}, {value: 8e6}}
			}
		case Leak:
			c[0] = contact{value: 45, soil: true}
		case Touch, LeadShort:
			c[0] = contact{value: 0.4}
		case ArresterOpen:
			c[0] = contact{value: 5e6}
		case OutsideRating:
			c[0] = contact{value: 1.7}
		}
		in.contacts[i] = c
	}
	in.loop = &l
	return &in, &l
}

// probes are the nodes looked at, drive by drive.
var probes = []string{"a1", "m1", "n1", "a2"}

// solve returns what the model says of the probes: driven between the
// terminals, at terminal A and both ends of the boundary; driven between
// terminal A and the rod, at terminal A.
func (t trial) solve(c *circuit, in *installation, hz float64) []complex128 {
	c.build(in, t.faults, t.hookup, 0, hz)
	z1 := c.nw.drive(c.srcA, c.srcB)
	out := []complex128{z1, c.nw.v[c.bndA], c.nw.v[c.bndB]}
	return append(out, c.nw.drive(c.srcA, c.rod))
}

// netlist writes the same circuit cell by cell.
func (t trial) netlist() string {
	in, l := trialInstallation(t)
	return t.netlistOf(in, l, ngspiceHz, "")
}

// netlistOf writes one copy of the circuit for each frequency, since the wire's
// resistance and inductance depend on it, each under both drives. analysis
// stands in for the usual ones if it is not empty.
func (t trial) netlistOf(in *installation, l *Loop, frequencies []float64, analysis string) string {
	var c circuit
	var b strings.Builder
	fmt.Fprintf(&b, "* %s: written by ngspice_test.go\n", t.name)
	for k, hz := range frequencies {
		c.build(in, t.faults, t.hookup, 0, hz)
		nw := &c.nw
		node := func(i int) string { return fmt.Sprintf("k%d", i) }
		fmt.Fprintf(&b, ".subckt net%d %s %s %s %s %s\n", k, node(c.srcA), node(c.srcB), node(c.rod), node(c.bndA)+"x", node(c.bndB)+"x")
		fmt.Fprintf(&b, "vm %sx %s 0\nvn %sx %s 0\n", node(c.bndA), node(c.bndA), node(c.bndB), node(c.bndB))
		series := func(w *wire, length, henryPerM float64) (ohm, henry float64) {
			ohm, henry = real(w.ohm)*length, henryPerM*length
			if hz > 0 {
				henry += imag(w.ohm) / (2 * math.Pi * hz) * length
			}
			return ohm, henry
		}
		for i, s := range nw.lines {
			n := max(1, int(math.Round(s.lengthM/in.cellM)))
			d := s.lengthM / float64(n)
			r, h := series(s.w, d, l.HenryPerM)
			at := node(s.a)
			for j := range n {
				to := fmt.Sprintf("b%d_%d", i, j)
				if j == n-1 {
					to = node(s.b)
				}
				id := fmt.Sprintf("b%d_%d", i, j)
				fmt.Fprintf(&b, "r%s %s %si %.15g\nl%s %si %s %.15g\n", id, at, id, r, id, id, to, h)
				for side, p := range []string{at, to} {
					fmt.Fprintf(&b, "c%s_%d %s k0 %.15g\nrg%s_%d %s k0 %.15g\n", id, side, p, in.faradPerM*d/2, id, side, p, 2*in.insulationOhmM/d)
				}
				at = to
			}
		}
		for i, s := range nw.pairs {
			n := max(1, int(math.Round(s.lengthM/in.cellM)))
			d := s.lengthM / float64(n)
			r, h := series(s.w, d, l.LeadHenryPerM)
			// The wire's own inside inductance is not shared with the other leg.
			k := l.LeadCoupling * l.LeadHenryPerM * d / h
			at := [2]string{node(s.a), node(s.b)}
			for j := range n {
				to := [2]string{fmt.Sprintf("p%d_%da", i, j), fmt.Sprintf("p%d_%db", i, j)}
				if j == n-1 {
					to = [2]string{node(s.a2), node(s.b2)}
				}
				for leg := range 2 {
					id := fmt.Sprintf("p%d_%d%c", i, j, 'a'+leg)
					fmt.Fprintf(&b, "r%s %s %si %.15g\nl%s %si %s %.15g\n", id, at[leg], id, r, id, id, to[leg], h)
					for side, p := range []string{at[leg], to[leg]} {
						fmt.Fprintf(&b, "c%s_%d %s k0 %.15g\nrg%s_%d %s k0 %.15g\n", id, side, p, in.leadFarad*d/2, id, side, p, 2*in.insulationOhmM/d)
					}
				}
				fmt.Fprintf(&b, "kp%d_%d lp%d_%da lp%d_%db %.15g\n", i, j, i, j, i, j, k)
				for side, p := range [][2]string{at, to} {
					fmt.Fprintf(&b, "cmp%d_%d_%d %s %s %.15g\n", i, j, side, p[0], p[1], in.leadMutual*d/2)
				}
				at = to
			}
		}
		for i, r := range nw.resist {
			fmt.Fprintf(&b, "rx%d %s %s %.15g\n", i, node(r.a), node(r.b), r.ohm)
		}
		b.WriteString(".ends\n")
		// The source feeds p; the node it returns to is the simulator's ground.
		fmt.Fprintf(&b, "x1f%d a1f%d 0 r1f%d m1f%d n1f%d net%d\ni1f%d 0 a1f%d dc 1 ac 1\n", k, k, k, k, k, k, k, k)
		fmt.Fprintf(&b, "x2f%d a2f%d b2f%d 0 m2f%d n2f%d net%d\ni2f%d 0 a2f%d dc 1 ac 1\n", k, k, k, k, k, k, k, k)
	}
	b.WriteString(".control\nset numdgt=13\n")
	b.WriteString(analysis)
	for k, hz := range frequencies {
		if analysis != "" {
			break
		}
		if hz == 0 {
			b.WriteString("op\n")
		} else {
			fmt.Fprintf(&b, "ac lin 1 %g %g\n", hz, hz)
		}
		for _, p := range probes {
			fmt.Fprintf(&b, "print v(%sf%d)\n", p, k)
		}
	}
	b.WriteString("quit 0\n.endc\n.end\n")
	return b.String()
}

// runNgspice returns what ngspice prints for each probe at each frequency.
func runNgspice(t *testing.T, file string) [][]complex128 {
	t.Helper()
	raw, err := exec.Command("ngspice", "-b", file).Output()
	require.NoError(t, err, "%s", raw)
	values := map[string]complex128{}
	lines := bufio.NewScanner(bytes.NewReader(raw))
	for lines.Scan() {
		name, value, ok := strings.Cut(lines.Text(), " = ")
		if !ok || !strings.HasPrefix(name, "v(") {
			continue
		}
		var re, im float64
		if strings.Contains(value, ",") {
			_, err = fmt.Sscanf(value, "%g,%g", &re, &im)
		} else {
			_, err = fmt.Sscanf(value, "%g", &re)
		}
		require.NoError(t, err, value)
		values[strings.TrimSpace(name)] = complex(re, im)
	}
	var out [][]complex128
	for k := range ngspiceHz {
		var row []complex128
		for _, p := range probes {
			v, ok := values[fmt.Sprintf("v(%sf%d)", p, k)]
			// ngspice exits with 0 also when it did not understand a line.
			require.True(t, ok, "ngspice printed no v(%sf%d) for %s:\n%s", p, k, file, raw)
			row = append(row, v)
		}
		out = append(out, row)
	}
	return out
}

// recorded is one circuit's results: by frequency and probe, real and imaginary volts.
type recorded map[string][][][2]float64

func TestCircuitAgainstNgspice(t *testing.T) {
	const dir = "testdata/ngspice"
	path, _ := exec.LookPath("ngspice")
	if path == "" && os.Getenv("LOOPFAULT_REQUIRE_ORACLES") == "1" {
		t.Fatal("ngspice is not installed and LOOPFAULT_REQUIRE_ORACLES=1")
	}
	file := filepath.Join(dir, "results.json")
	record := recorded{}
	if *updateNgspice {
		require.NotEmpty(t, path, "ngspice is needed for -update-ngspice")
	} else {
		raw, err := os.ReadFile(file)
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(raw, &record))
	}
	worst, worstAt, count := 0.0, "", 0
	var c circuit
	compare := func(t *testing.T, tr trial, got [][]complex128, source string) {
		in, _ := trialInstallation(tr)
		for k, hz := range ngspiceHz {
			want := tr.solve(&c, in, hz)
			for i := range probes {
				scale := cmplx.Abs(got[k][i])
				if probes[i] != "a2" {
					// A node's voltage is held against the drive it belongs to: one near
					// nought has no digits of its own.
					scale = max(scale, 1e-3*cmplx.Abs(got[k][0]))
				}
				rel := cmplx.Abs(want[i]-got[k][i]) / scale
				if rel > worst {
					worst, worstAt = rel, fmt.Sprintf("%s at %g Hz, %s", tr.name, hz, probes[i])
				}
				count++
				assert.Less(t, rel, ngspiceTolerance, "%s: %s at %g Hz: model %v, ngspice %v", source, probes[i], hz, want[i], got[k][i])
			}
		}
	}
	for _, tr := range trials() {
		t.Run(tr.name, func(t *testing.T) {
			netlist := tr.netlist()
			name := filepath.Join(dir, tr.name+".cir")
			if *updateNgspice {
				require.NoError(t, os.WriteFile(name, []byte(netlist), 0o644))
				got := runNgspice(t, name)
				for _, row := range got {
					var r [][2]float64
					for _, v := range row {
						r = append(r, [2]float64{real(v), imag(v)})
					}
					record[tr.name] = append(record[tr.name], r)
				}
			}
			kept, err := os.ReadFile(name)
			require.NoError(t, err)
			require.True(t, string(kept) == netlist, "%s is not the circuit of today: run with -update-ngspice", name)
			var got [][]complex128
			for _, row := range record[tr.name] {
				var r []complex128
				for _, v := range row {
					r = append(r, complex(v[0], v[1]))
				}
				got = append(got, r)
			}
			require.Len(t, got, len(ngspiceHz))
			compare(t, tr, got, "recorded")
			if path != "" && !*updateNgspice {
				compare(t, tr, runNgspice(t, name), "live")
			}
		})
	}
	t.Logf("%d circuits, %d voltages, worst relative difference %.2g (%s)", len(trials()), count, worst, worstAt)
	if path == "" {
		t.Log("ngspice is not installed: recorded results only")
	}
	if *updateNgspice {
		raw, err := json.MarshalIndent(record, "", " ")
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(file, raw, 0o644))
	}
}

// bigLoopNetlist is a 1,000 ft boundary with a break in sections of one foot.
func bigLoop(cellM float64) (trial, *installation) {
	tr := trial{name: "1000ft", faults: []Fault{{Kind: Open, AtM: 120}}}
	in, l := trialInstallation(tr)
	l.LeadInM, l.BoundaryM = 12.192, 304.8-24.384
	in.cellM = cellM
	return tr, in
}

// BenchmarkSolve is one solve of a 1,000 ft loop in 1 ft sections at 10 kHz.
func BenchmarkSolve(b *testing.B) {
	tr, in := bigLoop(0.3048)
	var c circuit
	for b.Loop() {
		c.build(in, tr.faults, wireOff, 0, 10e3)
		c.nw.drive(c.termA, c.termB)
	}
}

// BenchmarkSolveExact is the same with exact lines.
func BenchmarkSolveExact(b *testing.B) {
	tr, in := bigLoop(0)
	var c circuit
	for b.Loop() {
		c.build(in, tr.faults, wireOff, 0, 10e3)
		c.nw.drive(c.termA, c.termB)
	}
}

// BenchmarkNgspice is ngspice's time for one solve of the same netlist, its
// start and parsing taken off: an analysis of many frequencies less one of one.
func BenchmarkNgspice(b *testing.B) {
	if _, err := exec.LookPath("ngspice"); err != nil {
		b.Skip("ngspice is not installed")
	}
	tr, in := bigLoop(0.3048)
	file := filepath.Join(b.TempDir(), "big.cir")
	took := func(points int) time.Duration {
		var c circuit
		c.build(in, tr.faults, wireOff, 0, 10e3)
		netlist := tr.netlistOf(in, in.loop, []float64{10e3}, fmt.Sprintf("ac lin %d 10000 10001\n", points))
		require.NoError(b, os.WriteFile(file, []byte(netlist), 0o644))
		start := time.Now()
		raw, err := exec.Command("ngspice", "-b", file).CombinedOutput()
		require.NoError(b, err, "%s", raw)
		return time.Since(start)
	}
	const points = 2000
	var total time.Duration
	n := 0
	for b.Loop() {
		// The netlist holds the loop twice, once for either drive.
		total += (took(points) - took(1)) / (2 * (points - 1))
		n++
	}
	b.ReportMetric(float64(total.Nanoseconds())/float64(n), "ns/solve")
	b.ReportMetric(float64(took(1).Milliseconds()), "ms/run")
}
