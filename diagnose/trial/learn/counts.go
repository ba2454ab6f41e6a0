package learn

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
)

// Folds is into how many parts cases are dealt for holding out.
const Folds = 10

// Counts is what closed cases showed, in whole numbers.
type Counts struct {
	Schema int          `json:"schema"` // 1
	Folds  []FoldCounts `json:"folds"`
}

// FoldCounts are those of one fold.
type FoldCounts struct {
	Causes  map[string]int                       `json:"causes"`  // cases by cause
	Answers map[string]map[string]map[string]int `json:"answers"` // by check, cause, answer
}

// NewCounts is empty.
func NewCounts() *Counts {
	c := &Counts{Schema: 1, Folds: make([]FoldCounts, Folds)}
	for i := range c.Folds {
		c.Folds[i] = FoldCounts{map[string]int{}, map[string]map[string]map[string]int{}}
	}
	return c
}

// Cases is how many were counted.
func (c *Counts) Cases() int {
	var n int
	for _, f := range c.Folds {
		for _, k := range f.Causes {
			n += k
		}
	}
	return n
}

func (f *FoldCounts) answer(check, cause, answer string, n int) {
	byCause := f.Answers[check]
	if byCause == nil {
		byCause = map[string]map[string]int{}
		f.Answers[check] = byCause
	}
	if byCause[cause] == nil {
		byCause[cause] = map[string]int{}
	}
	byCause[cause][answer] += n
}

// Add adds the counts of another part of the archive.
func (c *Counts) Add(o *Counts) {
	for i := range o.Folds {
		c.Folds[i].add(&o.Folds[i])
	}
}

func (f *FoldCounts) add(o *FoldCounts) {
	for cause, n := range o.Causes {
		f.Causes[cause] += n
	}
	for check, byCause := range o.Answers {
		for cause, byAnswer := range byCause {
			for answer, n := range byAnswer {
				f.answer(check, cause, answer, n)
			}
		}
	}
}

// without is the sum of all folds but one; -1 leaves none out.
func (c *Counts) without(fold int) *FoldCounts {
	sum := &FoldCounts{map[string]int{}, map[string]map[string]map[string]int{}}
	for i := range c.Folds {
		if i != fold {
			sum.add(&c.Folds[i])
		}
	}
	return sum
}

// Write writes the counts as JSON, the same bytes for the same counts.
func (c *Counts) Write(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	return e.Encode(c)
}

// ReadCounts reads what [Counts.Write] or another program wrote.
func ReadCounts(r io.Reader, file string) (*Counts, error) {
	d := json.NewDecoder(r)
	d.DisallowUnknownFields()
	var c Counts
	if err := d.Decode(&c); err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	if c.Schema != 1 || len(c.Folds) > Folds {
		return nil, fmt.Errorf("%s: schema %d with %d folds: expected schema 1 with at most %d", file, c.Schema, len(c.Folds), Folds)
	}
	out := NewCounts()
	for i := range c.Folds {
		for cause, n := range c.Folds[i].Causes {
			if n < 0 {
				return nil, fmt.Errorf("%s: fold %d: %d cases of %s", file, i, n, cause)
			}
		}
		for check, byCause := range c.Folds[i].Answers {
			for cause, byAnswer := range byCause {
				for answer, n := range byAnswer {
					if n < 0 {
						return nil, fmt.Errorf("%s: fold %d: %d times %s to %s with %s", file, i, n, answer, check, cause)
					}
				}
			}
		}
		out.Folds[i].add(&c.Folds[i])
	}
	return out, nil
}

// Equal tells whether two counts are the same.
func (c *Counts) Equal(o *Counts) bool {
	for i := range c.Folds {
		a, b := &c.Folds[i], &o.Folds[i]
		same := maps.Equal(a.Causes, b.Causes) && maps.EqualFunc(a.Answers, b.Answers, func(x, y map[string]map[string]int) bool {
			return maps.EqualFunc(x, y, maps.Equal[map[string]int, map[string]int])
		})
		if !same {
			return false
		}
	}
	return true
}
