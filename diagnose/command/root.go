package command

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"loopfault/diagnose/console"
	"loopfault/diagnose/quantity"
)

// IO is where the program reads, writes and asks, and what time it has.
type IO struct {
	In  io.Reader
	Out io.Writer // results
	Err io.Writer // prompts, progress, errors
	Now func() time.Time
}

// terminal gives the two files that a person sits at, or ok false.
func (s IO) terminal() (in, out *os.File, ok bool) {
	in, isIn := s.In.(*os.File)
	out, isOut := s.Err.(*os.File)
	if !isIn || !isOut || !console.CanPrompt(in, out) {
		return nil, nil, false
	}
	return in, out, true
}

// Main runs one command line and returns the exit code.
func Main(args []string, in io.Reader, out, errs io.Writer) (code int) {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	defer func() {
		if r := recover(); r != nil {
			fmt.Fprintf(errs, "loopfault: a mistake in this program: %v\nhint: what was answered is saved; please report what led here, with the lines below\n\n%s", r, debug.Stack())
			code = exitFailed
		}
	}()
	p := newProgram(IO{In: in, Out: out, Err: errs, Now: time.Now})
	return explain(errs, p.run(ctx, args))
}

// program is what the commands share. What takes time is loaded on first use.
type program struct {
	IO
	root *cobra.Command

	configFile string
	noColor    bool
	settings   func() (*Settings, error)
	knowledge
}

func newProgram(s IO) *program {
	p := &program{IO: s}
	p.learnAtNeed()
	p.root = newRoot(p)
	return p
}

func (p *program) run(ctx context.Context, args []string) error {
	p.root.SetArgs(args)
	p.root.InitDefaultCompletionCmd(args...)
	if c, _, err := p.root.Find([]string{"completion"}); err == nil {
		c.Short = "Print the script that completes commands in a shell"
		asFamily(c)
	}
	usageErrors(p.root)
	command, err := p.root.ExecuteContextC(ctx)
	if e, ok := err.(*usageError); ok && e.hint == "" {
		e.hint = fmt.Sprintf("see %s --help", command.CommandPath())
	}
	return err
}

func newRoot(p *program) *cobra.Command {
	root := &cobra.Command{
		Use:   "loopfault",
		Short: "Find what is wrong with a buried boundary loop, and where",
		Long: `Loopfault finds what is wrong with a buried boundary loop: which part failed, where along
the wire, what to do next and when to stop searching.

Alone on a terminal it starts a case, as "loopfault diagnose" does.`,
		Example: `  loopfault demo
  loopfault diagnose --role technician --tools meter,capacitance,spade
  loopfault ohms --wire 20awg --length 500ft --temperature 10C --reading 12.3ohm`,
		SilenceUsage:  true,
		SilenceErrors: true,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			message := fmt.Sprintf("there is no command %q", args[0])
			if like := cmd.SuggestionsFor(args[0]); len(like) > 0 {
				return usagef("did you mean: loopfault "+strings.Join(like, ", loopfault "), "%s", message)
			}
			return usagef("", "%s", message)
		},
	}
	root.SuggestionsMinimumDistance = 2
	root.SetIn(p.In)
	root.SetOut(p.Out)
	root.SetErr(p.Err)
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usagef("", "%v", err) })

	flags := root.PersistentFlags()
	flags.SortFlags = false
	flags.String("units", quantity.Feet.String(), "lengths in `UNITS`: ft or m")
	flags.StringVar(&p.configFile, "config", "", "settings in `FILE` in place of the usual ones")
	flags.BoolVar(&p.noColor, "no-color", false, "no colour; NO_COLOR in the environment does the same")
	flags.String("overlay", "", "own changes to the knowledge base, from `FILE`")

	root.RunE = func(cmd *cobra.Command, args []string) error {
		if _, _, ok := p.terminal(); !ok {
			return cmd.Help()
		}
		diagnose, _, err := root.Find([]string{"diagnose"})
		if err != nil {
			return err
		}
		diagnose.SetContext(cmd.Context())
		return diagnose.RunE(diagnose, nil)
	}
	root.PersistentPreRun = func(cmd *cobra.Command, _ []string) {
		p.settings = sync.OnceValues(func() (*Settings, error) { return loadSettings(p.configFile, cmd.Flags()) })
	}
	root.AddGroup(&cobra.Group{ID: "case", Title: "On a case:"}, &cobra.Group{ID: "wire", Title: "About the wire:"},
		&cobra.Group{ID: "knowledge", Title: "About what the program knows:"})
	group := func(id string, commands ...*cobra.Command) {
		for _, c := range commands {
			c.GroupID = id
			root.AddCommand(c)
		}
	}
	group("case", newDemo(p), newDiagnose(p), newVerify(p), newReport(p))
	group("wire", newOhms(p), newLocate(p), newTaps(p), newYard(p))
	group("knowledge", newKB(p), newTree(p), newSimulate(p), newLearn(p))
	root.AddCommand(newConfig(p), newVersion(p), newMan(p))
	root.SetHelpCommand(newHelp())
	return root
}

// usageErrors turns what cobra says of wrong arguments into usage errors, in
// every command.
func usageErrors(c *cobra.Command) {
	if check := c.Args; check != nil {
		c.Args = func(cmd *cobra.Command, args []string) error {
			err := check(cmd, args)
			if err == nil {
				return nil
			}
			if _, ok := err.(*usageError); ok {
				return err
			}
			return usagef("", "%s", firstLine(err.Error()))
		}
	}
	for _, sub := range c.Commands() {
		usageErrors(sub)
	}
}

func firstLine(text string) string {
	line, _, _ := strings.Cut(text, "\n")
	return line
}

// noArguments, oneArgument and the like say what was expected in our own words.
func noArguments(_ *cobra.Command, args []string) error {
	if len(args) > 0 {
		return usagef("", "%q was not expected: the command takes flags only", args[0])
	}
	return nil
}

func oneArgument(name string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		switch {
		case len(args) == 0:
			return usagef("", "the %s is missing", name)
		case len(args) > 1:
			return usagef("", "%q is one too many: expected one %s", args[1], name)
		}
		return nil
	}
}

func atMostOne(name string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) > 1 {
			return usagef("", "%q is one too many: expected one %s at the most", args[1], name)
		}
		return nil
	}
}

// newFamily is a command that only holds others.
func newFamily(use, short string, members ...*cobra.Command) *cobra.Command {
	c := &cobra.Command{Use: use, Short: short}
	c.AddCommand(members...)
	return asFamily(c)
}

// asFamily makes a command print its help, and refuse what it does not hold:
// left alone, cobra takes a misspelt member for a wish for help.
func asFamily(c *cobra.Command) *cobra.Command {
	c.Args = func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return nil
		}
		return usagef("", "%s has no %q", cmd.CommandPath(), args[0])
	}
	c.RunE = func(cmd *cobra.Command, _ []string) error { return cmd.Help() }
	return c
}

func newHelp() *cobra.Command {
	return &cobra.Command{
		Use: "help [COMMAND]", Short: "Say how a command is used",
		Example: "  loopfault help locate",
		RunE: func(cmd *cobra.Command, args []string) error {
			about, rest, err := cmd.Root().Find(args)
			if err != nil || about == nil || len(rest) > 0 {
				return usagef("see loopfault --help", "there is no command %q", strings.Join(args, " "))
			}
			about.InitDefaultHelpFlag()
			return about.Help()
		},
	}
}

// printJSON writes a result for another program.
func (p *program) printJSON(v any) error {
	e := json.NewEncoder(p.Out)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// fixed gives the flag's values to the shell's completion.
func fixed(values ...string) cobra.CompletionFunc {
	return func(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
		return values, cobra.ShellCompDirectiveNoFileComp
	}
}
