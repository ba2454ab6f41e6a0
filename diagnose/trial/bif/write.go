package bif

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// Write writes the network. Figures are the shortest that read back exactly.
func (n *Network) Write(w io.Writer) error {
	if err := cmp.Or(n.Check(), n.checkNames()); err != nil {
		return err
	}
	out := bufio.NewWriter(w)
	fmt.Fprintf(out, "network %s {\n", n.Name)
	for _, note := range n.Notes {
		fmt.Fprintf(out, "  property %q ;\n", strings.Map(plain, note))
	}
	fmt.Fprintf(out, "}\n")
	for i := range n.Variables {
		v := &n.Variables[i]
		fmt.Fprintf(out, "variable %s {\n  type discrete [ %d ] { %s };\n}\n", v.Name, len(v.States), strings.Join(v.States, ", "))
	}
	for i := range n.Variables {
		n.writeTable(out, &n.Variables[i])
	}
	return out.Flush()
}

// plain keeps a note within one quoted string of any reader's.
func plain(r rune) rune {
	if r < ' ' || r > '~' || r == '"' || r == '\\' {
		return '\''
	}
	return r
}

func (n *Network) writeTable(out *bufio.Writer, v *Variable) {
	k := len(v.States)
	if len(v.Parents) == 0 {
		fmt.Fprintf(out, "probability ( %s ) {\n  table %s;\n}\n", v.Name, figures(v.P))
		return
	}
	names := make([]string, len(v.Parents))
	for i, p := range v.Parents {
		names[i] = n.Variables[p].Name
	}
	fmt.Fprintf(out, "probability ( %s | %s ) {\n", v.Name, strings.Join(names, ", "))
	at := make([]int, len(v.Parents)) // the parents' states, counted up like a number
	for row := 0; row < len(v.P); row += k {
		for i, p := range v.Parents {
			names[i] = n.Variables[p].States[at[i]]
		}
		fmt.Fprintf(out, "  (%s) %s;\n", strings.Join(names, ", "), figures(v.P[row:row+k]))
		for i := len(at) - 1; i >= 0; i-- {
			if at[i]++; at[i] < len(n.Variables[v.Parents[i]].States) {
				break
			}
			at[i] = 0
		}
	}
	fmt.Fprintf(out, "}\n")
}

func figures(p []float64) string {
	s := make([]string, len(p))
	for i, v := range p {
		s[i] = strconv.FormatFloat(v, 'g', -1, 64)
	}
	return strings.Join(s, ", ")
}
