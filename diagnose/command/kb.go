package command

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"
	"go.yaml.in/yaml/v4"

	"loopfault/diagnose"
	"loopfault/diagnose/trial"
	"loopfault/kb"
)

func newKB(p *program) *cobra.Command {
	return newFamily("kb", "What the program knows: check, list, show, export",
		newKBCheck(p), newKBList(p), newKBShow(p), newKBExport(p))
}

func newKBCheck(p *program) *cobra.Command {
	return &cobra.Command{
		Use: "check [OVERLAY]", Short: "Say whether the knowledge is sound, with a file of your own on top",
		Long: `Read the built-in knowledge strictly, and with it the OVERLAY named, or the one that the
settings name: every fault is reported as FILE:LINE:COLUMN.`,
		Example: "  loopfault kb check\n  loopfault kb check own.yaml",
		Args:    atMostOne("overlay file"),
		RunE: func(_ *cobra.Command, args []string) error {
			s, err := p.settings()
			if err != nil {
				return err
			}
			if len(args) > 0 {
				s.Overlay = args[0]
				s.origin["overlay"] = "the command line"
			}
			base, err := loadBase(s)
			if err != nil {
				return err
			}
			name := "the built-in knowledge"
			if s.Overlay != "" {
				name += " with " + clean(s.Overlay)
			}
			_, err = fmt.Fprintf(p.Out, "%s: good: %d causes, %d checks, %d repairs, %d cautions\n",
				name, len(base.Causes), len(base.Checks), len(base.Repairs), len(base.Cautions))
			return err
		},
	}
}

// entry is one of the knowledge base's, of whatever sort.
type entry struct {
	Kind  string `json:"kind"`
	ID    string `json:"id"`
	Name  string `json:"name"`
	value any
}

// kinds are the sorts of entry in the order they are listed.
var kinds = []string{"cause", "check", "repair", "tool", "caution", "rule", "part", "item", "material", "insulation", "phrase"}

// entries lists the base in a role's words.
func entries(b *kb.Base, role diagnose.Role) []entry {
	var out []entry
	add := func(kind, id, name string, value any) { out = append(out, entry{kind, id, name, value}) }
	words := func(w kb.Words) string { return w.For(string(role)) }
	for i := range b.Causes {
		add("cause", b.Causes[i].ID, words(b.Causes[i].Name), &b.Causes[i])
	}
	for i := range b.Checks {
		add("check", b.Checks[i].ID, words(b.Checks[i].Ask), &b.Checks[i])
	}
	for i := range b.Repairs {
		add("repair", b.Repairs[i].ID, words(b.Repairs[i].Name), &b.Repairs[i])
	}
	for i := range b.Tools {
		add("tool", b.Tools[i].ID, words(b.Tools[i].Name), &b.Tools[i])
	}
	for i := range b.Cautions {
		add("caution", b.Cautions[i].ID, words(b.Cautions[i].Text), &b.Cautions[i])
	}
	for i := range b.Rules {
		add("rule", b.Rules[i].ID, words(b.Rules[i].Text), &b.Rules[i])
	}
	for i := range b.Parts {
		add("part", b.Parts[i].ID, words(b.Parts[i].Name), &b.Parts[i])
	}
	for i := range b.Items {
		add("item", b.Items[i].ID, words(b.Items[i].Name), &b.Items[i])
	}
	for i := range b.Materials {
		add("material", b.Materials[i].ID, "", &b.Materials[i])
	}
	for i := range b.Insulation {
		add("insulation", b.Insulation[i].ID, "", &b.Insulation[i])
	}
	for i := range b.Phrases {
		add("phrase", b.Phrases[i].ID, words(b.Phrases[i].Text), &b.Phrases[i])
	}
	return out
}

// baseFor gives the base with the role to speak in.
func (p *program) baseFor() (*kb.Base, diagnose.Role, error) {
	s, err := p.settings()
	if err != nil {
		return nil, "", err
	}
	base, err := p.base()
	return base, s.roleOr(diagnose.Technician), err
}

func newKBList(p *program) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "list [KIND]", Short: "List the entries by id",
		Long:      "List the entries by id: all, or those of a KIND:\n" + listed(kinds) + ".",
		Example:   "  loopfault kb list cause",
		ValidArgs: kinds,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			for _, k := range kinds {
				if len(args) == 1 && strings.TrimSuffix(args[0], "s") == k {
					return nil
				}
			}
			return usagef("", "%q is no kind of entry: expected %s", args[0], listed(kinds))
		},
		RunE: func(_ *cobra.Command, args []string) error {
			base, role, err := p.baseFor()
			if err != nil {
				return err
			}
			list := entries(base, role)
			if len(args) > 0 {
				kept := list[:0]
				for _, e := range list {
					if e.Kind == strings.TrimSuffix(args[0], "s") {
						kept = append(kept, e)
					}
				}
				list = kept
			}
			if asJSON {
				return p.printJSON(list)
			}
			w := tabwriter.NewWriter(p.Out, 0, 0, 2, ' ', 0)
			for _, e := range list {
				fmt.Fprintf(w, "%s\t%s\t%s\n", e.Kind, e.ID, clean(shortened(e.Name)))
			}
			return w.Flush()
		},
	}
	addRole(c)
	jsonFlag(c.Flags(), &asJSON)
	return c
}

// shortened fits a text into a list.
func shortened(text string) string {
	const most = 72
	text = strings.Join(strings.Fields(text), " ")
	if runes := []rune(text); len(runes) > most {
		return strings.TrimRight(string(runes[:most-3]), " ") + "..."
	}
	return text
}

func newKBShow(p *program) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "show ID", Short: "Show one entry with its numbers and where they come from",
		Example: "  loopfault kb show splice-resistive\n  loopfault kb show short-loop-sign --json",
		Args:    oneArgument("entry's id"),
		RunE: func(_ *cobra.Command, args []string) error {
			base, role, err := p.baseFor()
			if err != nil {
				return err
			}
			var found []entry
			list := entries(base, role)
			for _, e := range list {
				if e.ID == args[0] {
					found = append(found, e)
				}
			}
			if len(found) == 0 {
				return withHint(fmt.Errorf("there is no entry %q", args[0]), "%s", likeEntry(list, args[0]))
			}
			for _, e := range found {
				if err := p.showEntry(e, asJSON); err != nil {
					return err
				}
			}
			return nil
		},
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
			base, role, err := p.baseFor()
			if err != nil {
				return nil, cobra.ShellCompDirectiveError
			}
			var ids []string
			for _, e := range entries(base, role) {
				ids = append(ids, e.ID)
			}
			return ids, cobra.ShellCompDirectiveNoFileComp
		},
	}
	jsonFlag(c.Flags(), &asJSON)
	return c
}

// likeEntry names an entry whose id holds what was asked for.
func likeEntry(list []entry, id string) string {
	for _, e := range list {
		if strings.Contains(e.ID, id) || strings.Contains(id, e.ID) {
			return "did you mean " + e.ID + "?"
		}
	}
	return "loopfault kb list says what there is"
}

// showEntry writes an entry in the form of the files it comes from, without the
// fields it leaves empty.
func (p *program) showEntry(e entry, asJSON bool) error {
	var n yaml.Node
	if err := n.Encode(e.value); err != nil {
		return fmt.Errorf("showing %s: %w", e.ID, err)
	}
	prune(&n)
	if asJSON {
		var tree any
		if err := n.Decode(&tree); err != nil {
			return fmt.Errorf("showing %s: %w", e.ID, err)
		}
		if fields, ok := tree.(map[string]any); ok {
			fields["kind_of_entry"] = e.Kind
		}
		return p.printJSON(tree)
	}
	var b bytes.Buffer
	w := yaml.NewEncoder(&b)
	w.SetIndent(2)
	if err := errors.Join(w.Encode(&n), w.Close()); err != nil {
		return fmt.Errorf("showing %s: %w", e.ID, err)
	}
	_, err := fmt.Fprintf(p.Out, "# %s\n%s", e.Kind, b.String())
	return err
}

// prune drops what an entry leaves empty and tells whether anything is left.
func prune(n *yaml.Node) bool {
	switch n.Kind {
	case yaml.DocumentNode:
		for _, c := range n.Content {
			prune(c)
		}
	case yaml.MappingNode:
		kept := n.Content[:0]
		for i := 0; i+1 < len(n.Content); i += 2 {
			if prune(n.Content[i+1]) {
				kept = append(kept, n.Content[i], n.Content[i+1])
			}
		}
		n.Content = kept
		return len(kept) > 0
	case yaml.SequenceNode:
		for _, c := range n.Content {
			prune(c)
		}
		return len(n.Content) > 0
	case yaml.ScalarNode:
		return n.Value != "" && n.Value != "null" && (n.Value != "false" || n.Tag != "!!bool")
	}
	return true
}

func newKBExport(p *program) *cobra.Command {
	var output, format, yardFile string
	var only []string
	c := &cobra.Command{
		Use: "export", Short: "Write the knowledge as a Bayesian network for other tools",
		Long: `Write the knowledge as a Bayesian network in the Interchange Format for Bayesian Networks (BIF),
which most general-purpose tools read: one variable over all single causes and pairs, one for
each cause, and one for each check that tables judge. The priors are those of the yard.`,
		Example: "  loopfault kb export --format bif -o knowledge.bif\n  loopfault kb export --only wire-cut,collar-battery,nothing-wrong",
		Args:    noArguments,
		RunE: func(*cobra.Command, []string) error {
			if err := oneOf("format", format, []string{"bif"}); err != nil {
				return err
			}
			c, err := p.newCase(caseFlags{yard: yardFile})
			if err != nil {
				return err
			}
			engine, err := p.engine()
			if err != nil {
				return err
			}
			for _, id := range only {
				if engine.Base().Cause(id) == nil {
					return usagef("see loopfault kb list cause", "--only: %q is no cause", id)
				}
			}
			desk, err := engine.At(c)
			if err != nil {
				return err
			}
			return p.output(output, true, trial.Network(desk, only...).Write)
		},
	}
	c.Flags().StringVar(&format, "format", "bif", "`FORMAT`: bif")
	c.Flags().StringSliceVar(&only, "only", nil, "`CAUSES` to keep, as if nothing else could be wrong; all where left out")
	c.Flags().StringVar(&yardFile, "yard", "", "as-built map whose priors to take, from `FILE`; an unknown yard where left out")
	addOutput(c, &output)
	return c
}
