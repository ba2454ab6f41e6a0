package trial

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"loopfault/diagnose/trial/score"
)

// Report is what a simulation found.
type Report struct {
	World      string
	Cases      int
	Seed       uint64
	Strategies []*Row
}

// Row is one strategy's line of the table.
type Row struct {
	ID, Text string
	Cases    int
	Endings  map[Ending]int
	Total    Bill // summed over all cases
	Turns    int

	// Causes judges every probability stated for a cause, from one in a hundred up;
	// First only that of the first of the ranking.
	Causes, First *score.Calibration
	// Where judges the position intervals stated last before the ground was opened,
	// or at the end; Everywhere those of every turn.
	Where, Everywhere Coverage

	minutes, money []float64
}

// Coverage is how often position intervals held the fault, over the cases where
// there was one with a place and a place was spoken of.
type Coverage struct {
	N, In50, In90 int
	Width90M      float64 // summed
}

// Share50 and Share90 are the shares of intervals that held it.
func (c Coverage) Share50() float64 { return float64(c.In50) / float64(c.N) }
func (c Coverage) Share90() float64 { return float64(c.In90) / float64(c.N) }

const reliabilityBins = 10

func newReport(r *run) *Report {
	out := &Report{World: r.world.Name, Seed: r.plan.Seed}
	for _, s := range r.plan.Strategies {
		out.Strategies = append(out.Strategies, &Row{ID: s.ID, Text: s.Text, Endings: map[Ending]int{},
			Causes: score.NewCalibration(reliabilityBins), First: score.NewCalibration(reliabilityBins)})
	}
	return out
}

// add takes in calls, each with a record for every strategy.
func (r *Report) add(calls [][]record) {
	for _, call := range calls {
		r.Cases++
		for i := range call {
			r.Strategies[i].add(&call[i])
		}
	}
}

func (r *Row) add(c *record) {
	r.Cases++
	r.Endings[c.Ending]++
	r.Turns += c.Turns
	t, b := &r.Total, &c.Bill
	t.Minutes += b.Minutes
	t.Money += b.Money
	t.Questions += b.Questions
	t.Taps += b.Taps
	t.Splices += b.Splices
	t.Digs += b.Digs
	t.NeedlessDigs += b.NeedlessDigs
	t.Parts += b.Parts
	t.NeedlessParts += b.NeedlessParts
	t.Unsafe += b.Unsafe
	r.minutes, r.money = append(r.minutes, b.Minutes), append(r.money, b.Money)
	for _, s := range c.stated {
		r.Causes.Add(s.p, s.so)
		if s.top {
			r.First.Add(s.p, s.so)
		}
	}
	for _, p := range c.placed {
		r.Everywhere.add(p)
		if p.beforeDig {
			r.Where.add(p)
		}
	}
}

func (c *Coverage) add(p placing) {
	c.N++
	c.Width90M += p.widthM
	if p.in50 {
		c.In50++
	}
	if p.in90 {
		c.In90++
	}
}

// Mean is a sum of the bill for each case.
func (r *Row) Mean(sum float64) float64 { return sum / float64(r.Cases) }

// Solved is the share of cases repaired and proved.
func (r *Row) Solved() float64 { return r.Mean(float64(r.Endings[Solved])) }

// MeanMinutes, MeanMoney, Minutes90 and Money90 are means and 90th percentiles.
func (r *Row) MeanMinutes() float64 { return r.Mean(r.Total.Minutes) }
func (r *Row) MeanMoney() float64   { return r.Mean(r.Total.Money) }
func (r *Row) Minutes90() float64   { return percentile(r.minutes, 0.9) }
func (r *Row) Money90() float64     { return percentile(r.money, 0.9) }

// MoneyError is the standard error of MeanMoney.
func (r *Row) MoneyError() float64 {
	var square float64
	for _, m := range r.money {
		square += (m - r.MeanMoney()) * (m - r.MeanMoney())
	}
	return math.Sqrt(square) / float64(r.Cases)
}

// percentile is the least value that a share q of the values do not exceed.
func percentile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := slices.Sorted(slices.Values(v))
	return s[max(0, int(math.Ceil(q*float64(len(s))))-1)]
}

// Header and Cells are the table of strategies as text, the same number of cells a line.
func (r *Report) Header() []string {
	return []string{"strategy", "solved", "handed on", "mistaken", "minutes", "90 %", "money", "90 %", "questions", "taps", "splices",
		"needless digs", "needless parts", "unsafe"}
}

// Cells is one line a strategy.
func (r *Report) Cells() [][]string {
	var out [][]string
	for _, s := range r.Strategies {
		share := func(e Ending) string { return fmt.Sprintf("%.1f %%", 100*s.Mean(float64(s.Endings[e]))) }
		mean := func(v float64) string { return fmt.Sprintf("%.2f", s.Mean(v)) }
		out = append(out, []string{s.ID, share(Solved), fmt.Sprintf("%.1f %%", 100*s.Mean(float64(s.Endings[HandedOn]+s.Endings[GoesRound]))), share(Mistaken),
			fmt.Sprintf("%.1f", s.MeanMinutes()), fmt.Sprintf("%.0f", s.Minutes90()), fmt.Sprintf("%.1f", s.MeanMoney()), fmt.Sprintf("%.0f", s.Money90()),
			mean(float64(s.Total.Questions)), mean(float64(s.Total.Taps)), mean(s.Total.Splices),
			fmt.Sprintf("%.3f", s.Mean(float64(s.Total.NeedlessDigs))), fmt.Sprintf("%.3f", s.Mean(float64(s.Total.NeedlessParts))), fmt.Sprint(s.Total.Unsafe)})
	}
	return out
}

// Write writes the whole report as plain text: the table of strategies, and for
// the first that states probabilities how they came true.
func (r *Report) Write(w io.Writer) error {
	fmt.Fprintf(w, "%d cases, %s world, seed %d; means per case\n\n", r.Cases, r.World, r.Seed)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, strings.Join(r.Header(), "\t")+"\t")
	for _, line := range r.Cells() {
		fmt.Fprintln(t, strings.Join(line, "\t")+"\t")
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, s := range r.Strategies {
		if s.Causes.N() > 0 {
			return s.writeCalibration(w)
		}
	}
	return nil
}

func (r *Row) writeCalibration(w io.Writer) error {
	m := r.Causes.Murphy()
	fmt.Fprintf(w, "\nProbabilities of %q, %d statements from 1 %% up\n", r.ID, r.Causes.N())
	fmt.Fprintf(w, "Brier %.4f = reliability %.5f - resolution %.4f + uncertainty %.4f + within bins %.4f; log score %.4f\n",
		r.Causes.Brier(), m.Reliability, m.Resolution, m.Uncertainty, m.Within, r.Causes.Log())
	fmt.Fprintf(w, "expected calibration error %.4f; of the first of the ranking %.4f (%d statements)\n\n",
		r.Causes.ExpectedError(), r.First.ExpectedError(), r.First.N())
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "stated\tmean\tcame true\tstatements\tfirst: mean\tcame true\tstatements\t")
	first := r.First.Table()
	for i, b := range r.Causes.Table() {
		fmt.Fprintf(t, "%.1f to %.1f\t%s\t%s\t%d\t%s\t%s\t%d\t\n", b.From, b.To, figure(b.Stated), figure(b.Happened), b.N,
			figure(first[i].Stated), figure(first[i].Happened), first[i].N)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "\nPosition before the ground is opened: 50 %% interval held the fault in %.1f %%, 90 %% in %.1f %% of %d cases; "+
		"over every turn %.1f %% and %.1f %% of %d\n", 100*r.Where.Share50(), 100*r.Where.Share90(), r.Where.N,
		100*r.Everywhere.Share50(), 100*r.Everywhere.Share90(), r.Everywhere.N)
	return err
}

func figure(v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.3f", v)
}
