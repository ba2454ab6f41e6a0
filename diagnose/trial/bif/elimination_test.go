package bif

import "slices"

// factor is a function of some variables; figures in the order of vars, the last
// changing fastest. The two oracles here, elimination and enumeration, share no
// code with the program's own inference.
type factor struct {
	vars, size []int
	p          []float64
}

func (n *Network) factors() []factor {
	var out []factor
	for i := range n.Variables {
		v := &n.Variables[i]
		f := factor{vars: append(slices.Clone(v.Parents), i), p: slices.Clone(v.P)}
		for _, x := range f.vars {
			f.size = append(f.size, len(n.Variables[x].States))
		}
		out = append(out, f)
	}
	return out
}

// each calls back with every combination of states.
func each(size []int, visit func(at []int)) {
	at := make([]int, len(size))
	for {
		visit(at)
		i := len(at) - 1
		for ; i >= 0; i-- {
			if at[i]++; at[i] < size[i] {
				break
			}
			at[i] = 0
		}
		if i < 0 {
			return
		}
	}
}

func (f factor) at(state map[int]int) float64 {
	k := 0
	for i, v := range f.vars {
		k = k*f.size[i] + state[v]
	}
	return f.p[k]
}

// combine multiplies factors and sums a variable out; out < 0 keeps all.
func combine(fs []factor, out int) factor {
	var all factor
	for _, f := range fs {
		for i, v := range f.vars {
			if !slices.Contains(all.vars, v) {
				all.vars, all.size = append(all.vars, v), append(all.size, f.size[i])
			}
		}
	}
	var kept factor
	for i, v := range all.vars {
		if v != out {
			kept.vars, kept.size = append(kept.vars, v), append(kept.size, all.size[i])
		}
	}
	total := 1
	for _, s := range kept.size {
		total *= s
	}
	kept.p = make([]float64, total)
	state := map[int]int{}
	each(all.size, func(at []int) {
		for i, v := range all.vars {
			state[v] = at[i]
		}
		p := 1.0
		for _, f := range fs {
			p *= f.at(state)
		}
		k := 0
		for i, v := range kept.vars {
			k = k*kept.size[i] + state[v]
		}
		kept.p[k] += p
	})
	return kept
}

// Eliminate is P(query, evidence) for each state of the query, by variable
// elimination in the order of least weight.
func (n *Network) eliminate(query int, evidence map[int]int) []float64 {
	fs := n.factors()
	for v, s := range evidence {
		seen := factor{vars: []int{v}, size: []int{len(n.Variables[v].States)}, p: make([]float64, len(n.Variables[v].States))}
		seen.p[s] = 1
		fs = append(fs, seen)
	}
	left := map[int]bool{}
	for i := range n.Variables {
		left[i] = i != query
	}
	for {
		best, weight := -1, 0
		for v := range n.Variables {
			if !left[v] {
				continue
			}
			size := map[int]int{}
			for _, f := range fs {
				if slices.Contains(f.vars, v) {
					for i, x := range f.vars {
						size[x] = f.size[i]
					}
				}
			}
			w := 1
			for _, s := range size {
				w *= s
			}
			if best < 0 || w < weight {
				best, weight = v, w
			}
		}
		if best < 0 {
			return combine(fs, -1).p
		}
		left[best] = false
		var with, without []factor
		for _, f := range fs {
			if slices.Contains(f.vars, best) {
				with = append(with, f)
			} else {
				without = append(without, f)
			}
		}
		fs = append(without, combine(with, best))
	}
}

// enumerate is the same by adding up every state of the whole network.
func (n *Network) enumerate(query int, evidence map[int]int) []float64 {
	out := make([]float64, len(n.Variables[query].States))
	fs := n.factors()
	var size []int
	for i := range n.Variables {
		size = append(size, len(n.Variables[i].States))
	}
	state := map[int]int{}
	each(size, func(at []int) {
		p := 1.0
		for i := range at {
			state[i] = at[i]
		}
		for v, s := range evidence {
			if state[v] != s {
				return
			}
		}
		for _, f := range fs {
			p *= f.at(state)
		}
		out[state[query]] += p
	})
	return out
}
