package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"loopfault/diagnose"
	"loopfault/diagnose/console"
	"loopfault/diagnose/journal"
	"loopfault/diagnose/quantity"
	"loopfault/diagnose/trial/learn"
)

func newLearn(p *program) *cobra.Command {
	var output, saveCounts string
	var counts []string
	var force, asJSON, yardAnywhere bool
	c := &cobra.Command{
		Use: "learn CASES...", Short: "Improve the knowledge from closed cases",
		Long: `Improve the knowledge from closed cases: an overlay for the knowledge base comes out, and how
well the knowledge fits cases that it did not learn from, before and after. CASES are case
files, folders of them, files of JSON Lines (.jsonl), or - for JSON Lines on standard input.
Only cases with a confirmed outcome are counted. Nothing leaves this machine.

A large archive can be counted in parts: --save-counts writes what was counted, --counts adds
what was counted elsewhere.`,
		Example: `  loopfault learn calls/ -o own.yaml
  loopfault diagnose --overlay own.yaml
  loopfault learn calls/2025 --save-counts 2025.json
  loopfault learn calls/2026 --counts 2025.json -o own.yaml`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 && len(counts) == 0 {
				return usagef("", "the closed cases are missing")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			base, err := p.base()
			if err != nil {
				return err
			}
			o, err := p.caseOptions()
			if err != nil {
				return err
			}
			o.YardAnywhere = yardAnywhere
			intake := intake{program: p, options: o, learner: learn.New(base), refused: map[learn.Refusal]int{}}
			if err := intake.all(cmd.Context(), args, counts); err != nil {
				return err
			}
			if saveCounts != "" {
				if err := p.output(saveCounts, force, intake.learner.Counts().Write); err != nil {
					return err
				}
			}
			result, err := intake.learner.Result()
			var tooFew learn.TooFewError
			if saveCounts != "" && output == "" && errors.As(err, &tooFew) {
				return nil // a part of an archive may be small
			}
			if err != nil {
				return err
			}
			return p.printLearned(result, intake.refused, output, force, asJSON, saveCounts != "")
		},
	}
	addOutput(c, &output)
	c.Flags().StringVar(&saveCounts, "save-counts", "", "write what was counted to `FILE`")
	c.Flags().StringArrayVar(&counts, "counts", nil, "add the counts in `FILE`; may be repeated")
	c.Flags().BoolVar(&force, "force", false, "write over files that exist")
	addYardAnywhere(c, &yardAnywhere)
	jsonFlag(c.Flags(), &asJSON)
	return c
}

// intake takes closed cases in from wherever they are.
type intake struct {
	*program
	options journal.Options
	learner *learn.Learner
	refused map[learn.Refusal]int
}

// all takes everything in. Faults of files are told together at the end.
func (i *intake) all(ctx context.Context, names, counts []string) error {
	var bad []error
	for _, name := range names {
		if err := i.take(ctx, name); err != nil {
			bad = append(bad, err)
		}
		if ctx.Err() != nil {
			return console.ErrInterrupted
		}
	}
	for _, name := range counts {
		if err := i.addCounts(name); err != nil {
			bad = append(bad, err)
		}
	}
	return allFaults(bad)
}

func (i *intake) addCounts(name string) error {
	f, err := os.Open(name)
	if err != nil {
		return fmt.Errorf("reading counts: %w", err)
	}
	defer f.Close()
	c, err := learn.ReadCounts(f, name)
	if err != nil {
		return err
	}
	i.learner.AddCounts(c)
	return nil
}

func (i *intake) count(c *diagnose.Case) error {
	if refusal := i.learner.Add(c); refusal != learn.Used {
		i.refused[refusal]++
	}
	return nil
}

func (i *intake) take(ctx context.Context, name string) error {
	if name == "-" {
		return learn.Stream(i.In, "standard input", i.count)
	}
	if info, err := os.Stat(name); err == nil && info.IsDir() {
		return i.folder(ctx, name)
	}
	if strings.EqualFold(filepath.Ext(name), ".jsonl") {
		f, err := os.Open(name)
		if err != nil {
			return fmt.Errorf("reading cases: %w", err)
		}
		defer f.Close()
		return learn.Stream(f, name, i.count)
	}
	c, warnings, err := journal.Read(name, i.options)
	i.warn(warnings)
	if err != nil {
		return err
	}
	return i.count(c)
}

// folder takes in the case files of a folder and of those below it.
func (i *intake) folder(ctx context.Context, name string) error {
	var bad []error
	err := filepath.WalkDir(name, func(path string, d os.DirEntry, err error) error {
		if err != nil || ctx.Err() != nil {
			return errors.Join(err, ctx.Err())
		}
		if ext := strings.ToLower(filepath.Ext(path)); d.Type().IsRegular() && (ext == ".yaml" || ext == ".yml" || ext == ".jsonl") {
			if err := i.take(ctx, path); err != nil {
				bad = append(bad, err)
			}
		}
		return nil
	})
	if err != nil {
		bad = append(bad, err)
	}
	return allFaults(bad)
}

// printLearned writes the overlay, and what it is worth: to standard output
// where the overlay goes to a file, else to standard error.
func (p *program) printLearned(r *learn.Result, refused map[learn.Refusal]int, output string, force, asJSON, counted bool) error {
	if asJSON {
		if output != "" {
			if err := p.output(output, force, func(w io.Writer) error { _, err := w.Write(r.Overlay); return err }); err != nil {
				return err
			}
		}
		return p.printJSON(learnedJSON(r, refused))
	}
	about := p.Out
	if output == "" && !counted {
		about = p.Err
	}
	if output != "" || !counted {
		if err := p.output(output, force, func(w io.Writer) error { _, err := w.Write(r.Overlay); return err }); err != nil {
			return err
		}
	}
	fmt.Fprintf(about, "learned from %d cases: %d distributions changed\n", r.Cases, len(r.Changes))
	var whys []string
	for why := range refused {
		whys = append(whys, string(why))
	}
	slices.Sort(whys)
	for _, why := range whys {
		fmt.Fprintf(about, "not counted: %d, %s\n", refused[learn.Refusal(why)], why)
	}
	if r.HeldOut {
		w := tabwriter.NewWriter(about, 0, 0, 2, ' ', tabwriter.AlignRight)
		fmt.Fprintf(w, "on cases not learned from\tbefore\tafter\t\n")
		for _, s := range learnedScores(r) {
			fmt.Fprintf(w, "%s\t%.4f\t%.4f\t\n", s.Name, s.Before, s.After)
		}
		if err := w.Flush(); err != nil {
			return err
		}
	}
	for _, c := range r.Changes {
		if c.Check == "" {
			fmt.Fprintf(about, "share of %s, %d cases:%s\n", c.Cause, c.Cases, moved(c))
		}
	}
	return nil
}

// moved tells how a distribution changed.
func moved(c learn.Change) string {
	var keys []string
	for k := range c.After {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	var text string
	for _, k := range keys {
		name := k
		if k == c.Cause {
			name = ""
		}
		text += fmt.Sprintf(" %s %s to %s", name, quantity.FormatPercent(c.Before[k]), quantity.FormatPercent(c.After[k]))
	}
	return strings.ReplaceAll(text, "  ", " ")
}

type learnedScore struct {
	Name   string  `json:"name"`
	Before float64 `json:"before"`
	After  float64 `json:"after"`
}

func learnedScores(r *learn.Result) []learnedScore {
	return []learnedScore{
		{"surprise at the true cause, less is better", r.Before.LogCase, r.After.LogCase},
		{"Brier score of the causes, less is better", r.Before.Brier, r.After.Brier},
		{"surprise at each answer, less is better", r.Before.LogAnswer, r.After.LogAnswer},
		{"true cause first in the ranking, share", r.Before.First, r.After.First},
	}
}

func learnedJSON(r *learn.Result, refused map[learn.Refusal]int) any {
	type change struct {
		Cause  string             `json:"cause"`
		Check  string             `json:"check,omitempty"`
		Cases  int                `json:"cases"`
		Before map[string]float64 `json:"before"`
		After  map[string]float64 `json:"after"`
	}
	out := struct {
		Cases   int                   `json:"cases"`
		Refused map[learn.Refusal]int `json:"not_counted"`
		Scores  []learnedScore        `json:"scores"`
		Changes []change              `json:"changes"`
	}{Cases: r.Cases, Refused: refused, Changes: []change{}, Scores: []learnedScore{}}
	if r.HeldOut {
		out.Scores = learnedScores(r)
	}
	for _, c := range r.Changes {
		out.Changes = append(out.Changes, change{c.Cause, c.Check, c.Cases, c.Before, c.After})
	}
	return out
}
