package command

import (
	"bytes"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

func newMan(p *program) *cobra.Command {
	return &cobra.Command{
		Use: "man", Short: "Print the manual page",
		Long:    "Print the manual page of the whole program, in the form that man reads.",
		Example: "  loopfault man | man -l -",
		Args:    noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, err := p.Out.Write(manual(cmd.Root()))
			return err
		},
	}
}

// manual is the page in the man macros of roff, made from the commands' own help.
func manual(root *cobra.Command) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, ".TH LOOPFAULT 1 \"\" \"loopfault %s\" \"User commands\"\n", roff(thisBuild().Version))
	fmt.Fprintf(&b, ".SH NAME\nloopfault \\- %s\n", roff(lowerFirst(root.Short)))
	b.WriteString(".SH SYNOPSIS\n.B loopfault\n[\\fICOMMAND\\fR] [\\fIFLAGS\\fR]\n")
	b.WriteString(".SH DESCRIPTION\n")
	paragraphs(&b, root.Long)
	b.WriteString(".SH COMMANDS\n")
	for _, c := range root.Commands() {
		describe(&b, c)
	}
	b.WriteString(".SH FLAGS OF EVERY COMMAND\n")
	flagList(&b, root.PersistentFlags())
	b.WriteString(".SH ENVIRONMENT\n")
	for _, s := range settings {
		fmt.Fprintf(&b, ".TP\n.B %s\n%s.\n", roff(s.variable()), roff(upperFirst(s.meaning)))
	}
	b.WriteString(".TP\n.B NO_COLOR\nNo colour, whatever its value.\n")
	b.WriteString(".TP\n.B ACCESSIBLE\nQuestions as plain numbered lines, for screen readers.\n")
	b.WriteString(".SH FILES\n.TP\n.I loopfault/config.yaml\nThe settings, in the user's configuration folder; \\fBloopfault config show\\fR says where.\n")
	fmt.Fprintf(&b, ".SH EXIT STATUS\n.TP\n%d\nDone.\n.TP\n%d\nThe work could not be finished.\n.TP\n%d\nThe command line makes no sense.\n.TP\n%d\nInterrupted; what was answered is saved.\n",
		exitDone, exitFailed, exitUsage, exitInterrupted)
	b.WriteString(".SH EXAMPLES\n")
	example(&b, root.Example)
	return b.Bytes()
}

// describe writes a command and those below it.
func describe(b *bytes.Buffer, c *cobra.Command) {
	if !c.IsAvailableCommand() {
		return
	}
	fmt.Fprintf(b, ".SS %s\n", roff(strings.TrimPrefix(c.UseLine(), c.Root().Name()+" ")))
	text := c.Long
	if text == "" {
		text = c.Short + "."
	}
	paragraphs(b, text)
	flagList(b, c.LocalNonPersistentFlags())
	if c.Example != "" {
		b.WriteString(".PP\nFor example:\n")
		example(b, c.Example)
	}
	if c.Name() == "completion" {
		return // its members are one a shell, and their help is for the shell at hand
	}
	for _, sub := range c.Commands() {
		describe(b, sub)
	}
}

func flagList(b *bytes.Buffer, flags *pflag.FlagSet) {
	flags.VisitAll(func(f *pflag.Flag) {
		if f.Hidden {
			return
		}
		name, usage := pflag.UnquoteUsage(f)
		b.WriteString(".TP\n")
		if f.Shorthand != "" {
			fmt.Fprintf(b, "\\fB\\-%s\\fR, ", roff(f.Shorthand))
		}
		fmt.Fprintf(b, "\\fB%s\\fR", roff("--"+f.Name))
		if name != "" {
			fmt.Fprintf(b, " \\fI%s\\fR", roff(name))
		}
		fmt.Fprintf(b, "\n%s.\n", roff(upperFirst(usage)))
	})
}

func paragraphs(b *bytes.Buffer, text string) {
	for part := range strings.SplitSeq(strings.TrimSpace(text), "\n\n") {
		fmt.Fprintf(b, ".PP\n%s\n", roff(part))
	}
}

func example(b *bytes.Buffer, text string) {
	fmt.Fprintf(b, ".PP\n.nf\n.RS\n%s\n.RE\n.fi\n", roff(strings.ReplaceAll(strings.TrimRight(text, "\n"), "\n  ", "\n")[min(2, len(text)):]))
}

// roff escapes what the formatter would take for its own: backslashes, hyphens
// that are to be copied, and a leading dot or quote.
func roff(text string) string {
	text = strings.NewReplacer(`\`, `\e`, "-", `\-`).Replace(text)
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		if strings.HasPrefix(line, ".") || strings.HasPrefix(line, "'") {
			lines[i] = `\&` + line
		}
	}
	return strings.Join(lines, "\n")
}

func lowerFirst(s string) string { return strings.ToLower(s[:1]) + s[1:] }
func upperFirst(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
