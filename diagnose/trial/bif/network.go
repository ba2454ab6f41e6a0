package bif

import (
	"fmt"
	"math"
	"strings"
)

// Network is a discrete Bayesian network.
type Network struct {
	Name      string
	Notes     []string // properties of the network, one line each
	Variables []Variable
}

// Variable is one node.
type Variable struct {
	Name    string
	States  []string
	Parents []int // indexes of variables
	// P holds one row of len(States) for every combination of the parents' states,
	// the last parent's state changing fastest.
	P []float64
}

const (
	// rowTolerance is how far a row may be from summing to one: published networks
	// give three decimals or so for each of a few states.
	rowTolerance = 1e-3
	maxFigures   = 1 << 20
)

// Variable is the index of a variable by name, -1 where there is none.
func (n *Network) Variable(name string) int {
	for i := range n.Variables {
		if n.Variables[i].Name == name {
			return i
		}
	}
	return -1
}

// State is the index of a state by name, -1 where there is none.
func (v *Variable) State(name string) int {
	for i, s := range v.States {
		if s == name {
			return i
		}
	}
	return -1
}

// Rows is how many combinations of states the parents of v have.
func (n *Network) Rows(v *Variable) int {
	rows := 1
	for _, p := range v.Parents {
		rows *= len(n.Variables[p].States)
	}
	return rows
}

// Check tells what is wrong with a network: names that stand twice, tables of the
// wrong size, rows that are no distribution, cycles.
func (n *Network) Check() error {
	seen := map[string]bool{}
	for i := range n.Variables {
		v := &n.Variables[i]
		if seen[v.Name] {
			return fmt.Errorf("variable %s stands twice", v.Name)
		}
		seen[v.Name] = true
		if err := n.checkTable(v); err != nil {
			return fmt.Errorf("variable %s: %w", v.Name, err)
		}
	}
	return n.checkCycles()
}

func (n *Network) checkTable(v *Variable) error {
	states := map[string]bool{}
	for _, s := range v.States {
		if states[s] {
			return fmt.Errorf("state %s stands twice", s)
		}
		states[s] = true
	}
	k := len(v.States)
	if k == 0 {
		return fmt.Errorf("no states")
	}
	for _, p := range v.Parents {
		if p < 0 || p >= len(n.Variables) {
			return fmt.Errorf("parent %d is none of the %d variables", p, len(n.Variables))
		}
	}
	if want := n.Rows(v) * k; len(v.P) != want {
		return fmt.Errorf("%d figures, expected %d", len(v.P), want)
	}
	for row := 0; row < len(v.P); row += k {
		var sum float64
		for _, p := range v.P[row : row+k] {
			if !(p >= 0 && p <= 1) {
				return fmt.Errorf("row %d: %v is no probability", row/k+1, p)
			}
			sum += p
		}
		if math.Abs(sum-1) > rowTolerance {
			return fmt.Errorf("row %d sums to %v, expected 1", row/k+1, sum)
		}
	}
	return nil
}

// checkCycles walks from each variable up to its parents.
func (n *Network) checkCycles() error {
	const onPath, clear = 1, 2
	state := make([]int, len(n.Variables))
	var visit func(i int) error
	visit = func(i int) error {
		switch state[i] {
		case onPath:
			return fmt.Errorf("variable %s is its own ancestor", n.Variables[i].Name)
		case clear:
			return nil
		}
		state[i] = onPath
		for _, p := range n.Variables[i].Parents {
			if err := visit(p); err != nil {
				return err
			}
		}
		state[i] = clear
		return nil
	}
	for i := range n.Variables {
		if err := visit(i); err != nil {
			return err
		}
	}
	return nil
}

// checkNames tells which names the format cannot carry.
func (n *Network) checkNames() error {
	if err := word(n.Name); err != nil {
		return fmt.Errorf("network: %w", err)
	}
	for i := range n.Variables {
		v := &n.Variables[i]
		if err := word(v.Name); err != nil {
			return fmt.Errorf("variable: %w", err)
		}
		for _, s := range v.States {
			if err := word(s); err != nil {
				return fmt.Errorf("state of %s: %w", v.Name, err)
			}
		}
	}
	return nil
}

// word tells whether the format's words can hold a name: a letter, then letters,
// digits and the two marks.
func word(s string) error {
	if s == "" {
		return fmt.Errorf("empty name")
	}
	for i, r := range s {
		letter := r == '_' || r == '-' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z'
		if !letter && (i == 0 || r < '0' || r > '9') {
			return fmt.Errorf("name %q: expected a letter, then letters, digits, - or _", s)
		}
	}
	return nil
}

// Word is the nearest name that the format can carry.
func Word(s string) string {
	clean := strings.Map(func(r rune) rune {
		if r < 128 && (r == '_' || r == '-' || r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z') {
			return r
		}
		return '_'
	}, s)
	if clean == "" || clean[0] >= '0' && clean[0] <= '9' {
		clean = "_" + clean
	}
	return clean
}
