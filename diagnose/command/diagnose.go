package command

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"loopfault/diagnose"
	"loopfault/diagnose/console"
	"loopfault/diagnose/journal"
	"loopfault/diagnose/yard"
)

// caseFlags say what a case starts from.
type caseFlags struct {
	yard         string
	yardAnywhere bool
	told         *yard.Map // of a new case without a map, as the person told it
}

func addRole(c *cobra.Command) {
	c.Flags().String("role", "", "`WHO` is on the job: homeowner, technician or support")
	_ = c.RegisterFlagCompletionFunc("role", fixed("homeowner", "technician", "support"))
}

func addTools(c *cobra.Command) {
	c.Flags().StringSlice("tools", nil, "`TOOLS` at hand, such as meter,capacitance,spade; the role's usual ones where left out")
}

func addYardAnywhere(c *cobra.Command, into *bool) {
	c.Flags().BoolVar(into, "yard-anywhere", false, "let a case name a yard file outside its own folder")
}

func newDiagnose(p *program) *cobra.Command {
	var f caseFlags
	var asJSON, dialogue, plain bool
	c := &cobra.Command{
		Use: "diagnose [CASE]", Short: "Start a case or go on with one",
		Long: `Start a case or go on with one: questions, readings and repairs, until the fault is gone and the
boundary proved. Each answer is saved in the CASE file before the next question; without a
name the case gets one in the case folder.

At every question: don't know, why this question, the ranking so far, go back, stop and save.`,
		Example: `  loopfault diagnose spring-call.yaml --role technician --yard orchard.yaml --tools meter,spade
  loopfault diagnose spring-call.yaml --json
  loopfault diagnose --role homeowner --plain`,
		Args: atMostOne("case file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			file := ""
			if len(args) > 0 {
				file = args[0]
			}
			switch {
			case asJSON && dialogue:
				return usagef("take one of them", "--json prints a result and stops, --dialogue asks: they do not go together")
			case asJSON:
				return p.printResult(file, f)
			case dialogue:
				return p.dialogue(cmd.Context(), file, f)
			}
			return p.interview(cmd.Context(), file, f, plain)
		},
	}
	addRole(c)
	addTools(c)
	c.Flags().StringVar(&f.yard, "yard", "", "as-built map of a new case, from `FILE`")
	addYardAnywhere(c, &f.yardAnywhere)
	c.Flags().BoolVar(&dialogue, "dialogue", false, "ask in JSON Lines on standard input and output")
	c.Flags().BoolVar(&plain, "plain", false, "ask in plain numbered lines, for pipes and screen readers")
	c.Flags().BoolVar(&asJSON, "json", false, "print the result of the case as JSON and stop")
	return c
}

// newCase is a case as the flags and settings start it.
func (p *program) newCase(f caseFlags) (*diagnose.Case, error) {
	s, err := p.settings()
	if err != nil {
		return nil, err
	}
	base, err := p.base()
	if err != nil {
		return nil, err
	}
	if err := checkTools(base, s.Tools, s.origin["tools"]); err != nil {
		return nil, err
	}
	c := &diagnose.Case{Role: s.roleOr(diagnose.Homeowner), Tools: s.Tools}
	c.Yard = f.told
	if f.yard != "" {
		if c.Yard, err = loadYard(f.yard); err != nil {
			return nil, err
		}
		c.Name = c.Yard.Name
	}
	return c, nil
}

// readCase reads a case and leaves it alone, saying what was dropped.
func (p *program) readCase(file string, yardAnywhere bool) (*diagnose.Case, error) {
	o, err := p.caseOptions()
	if err != nil {
		return nil, err
	}
	o.YardAnywhere = yardAnywhere
	c, warnings, err := journal.Read(file, o)
	p.warn(warnings)
	return c, err
}

func (p *program) warn(warnings []string) {
	for _, w := range warnings {
		fmt.Fprintf(p.Err, "loopfault: %s\n", clean(w))
	}
}

// printResult judges a case as it stands. A yard, role or tools on the command
// line stand in for the case's own: what if.
func (p *program) printResult(file string, f caseFlags) error {
	c, err := p.newCase(f)
	if err != nil {
		return err
	}
	if file != "" {
		read, err := p.readCase(file, f.yardAnywhere)
		if err != nil {
			return err
		}
		if c, err = p.whatIf(read, c); err != nil {
			return err
		}
	}
	s, engine, err := p.ready()
	if err != nil {
		return err
	}
	found, err := engine.Assess(c)
	if err != nil {
		return err
	}
	return p.printJSON(found.Result(s.Units))
}

// whatIf puts what the command line gives in the place of what the case says.
func (p *program) whatIf(c, given *diagnose.Case) (*diagnose.Case, error) {
	s, err := p.settings()
	if err != nil {
		return nil, err
	}
	if given.Yard != nil {
		c.Yard = given.Yard
	}
	if s.fromFlag("role") {
		c.Role = given.Role
	}
	if s.fromFlag("tools") {
		c.Tools = given.Tools
	} else if c.Tools == nil {
		c.Tools = s.Tools
	}
	return c, nil
}

// open goes on with a case file or starts it; close gives it back.
func (p *program) open(file string, f caseFlags) (log console.Log, resumed bool, closeLog func() error, err error) {
	o, err := p.caseOptions()
	if err != nil {
		return nil, false, nil, err
	}
	o.YardAnywhere = f.yardAnywhere
	if _, err := os.Stat(file); err == nil {
		s, err := p.settings()
		if err != nil {
			return nil, false, nil, err
		}
		if f.yard != "" || s.fromFlag("role") || s.fromFlag("tools") {
			return nil, false, nil, usagef("leave them out to go on with the case, or name a new one",
				"%s is a case with a role, tools and yard of its own: --role, --tools and --yard are for a new case", file)
		}
		j, err := journal.Open(file, o)
		if err != nil {
			return nil, false, nil, err
		}
		p.warn(j.Warnings())
		return j, true, j.Close, nil
	}
	c, err := p.newCase(f)
	if err != nil {
		return nil, false, nil, err
	}
	if c.Name == "" {
		c.Name = strings.TrimSuffix(filepath.Base(file), filepath.Ext(file))
	}
	if f.yard != "" {
		// Named where it lies in the case's folder; otherwise the case holds a copy.
		if rel, err := filepath.Rel(filepath.Dir(file), f.yard); err == nil && filepath.IsLocal(rel) {
			c.YardFile = filepath.ToSlash(rel)
		}
	}
	j, err := journal.Create(file, c, o)
	if err != nil {
		return nil, false, nil, err
	}
	return j, false, j.Close, nil
}

// dialogue talks to another program. Without a case file nothing is kept.
func (p *program) dialogue(ctx context.Context, file string, f caseFlags) (err error) {
	s, engine, err := p.ready()
	if err != nil {
		return err
	}
	var log console.Log
	if file == "" {
		c, err := p.newCase(f)
		if err != nil {
			return err
		}
		log = &console.Memory{C: c}
	} else {
		opened, _, closeLog, err := p.open(file, f)
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, closeLog()) }()
		log = opened
	}
	desk, err := console.NewEngine(engine, log.Case())
	if err != nil {
		return err
	}
	d := console.Dialogue{In: p.In, Out: p.Out, Engine: desk, Base: engine.Base(), Log: log, Units: s.Units}
	return d.Run(ctx)
}

// interview asks a person.
func (p *program) interview(ctx context.Context, file string, f caseFlags, plain bool) (err error) {
	prompter, err := p.prompter(plain)
	if err != nil {
		return err
	}
	s, err := p.settings()
	if err != nil {
		return err
	}
	if file == "" {
		if file, err = freeName(s.CaseFolder, p.Now()); err != nil {
			return err
		}
	}
	if s.Role == "" && !exists(file) {
		if s.Role, err = askRole(ctx, prompter); err != nil {
			return err
		}
	}
	if s.roleOr(diagnose.Homeowner) == diagnose.Technician && f.yard == "" && !exists(file) {
		if _, err := p.newCase(f); err != nil {
			return err // before anything is asked
		}
		if f.told, err = console.AskYard(ctx, prompter, s.Units); err != nil {
			return err
		}
	}
	log, resumed, closeLog, err := p.open(file, f)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeLog()) }()
	if !resumed {
		fmt.Fprintf(p.Err, "Each answer is saved in %s.\n", clean(file))
	}
	engine, err := p.engine()
	if err != nil {
		return err
	}
	desk, err := console.NewEngine(engine, log.Case())
	if err != nil {
		return err
	}
	iv := console.Interview{Prompter: prompter, Engine: desk, Base: engine.Base(), Log: log, Units: s.Units,
		Resume: "loopfault diagnose " + quoteArgument(file), Now: p.Now}
	ending, err := iv.Run(ctx)
	switch {
	case errors.Is(err, console.ErrEnded):
		return nil // the lines ended; all of them are in the case
	case err == nil && ending == console.HandedOver:
		fmt.Fprintf(p.Err, "To print or send it: loopfault report %s --format html -o handover.html\n", clean(quoteArgument(file)))
	case err == nil && ending == console.Finished:
		fmt.Fprintf(p.Err, "The record, to print or keep: loopfault report %s\n", clean(quoteArgument(file)))
	}
	return err
}

// prompter is the form of asking that suits the terminal, or an error that says
// what to give instead of one.
func (p *program) prompter(plain bool) (console.Prompter, error) {
	o := console.FromEnvironment(os.Getenv)
	o.Plain = o.Plain || plain
	o.Colour = o.Colour && !p.noColor
	in, out, ok := p.terminal()
	switch {
	case ok:
		return console.New(in, out, o), nil
	case plain:
		return console.NewPlain(p.In, p.Err, o), nil
	}
	return nil, withHint(errors.New("there is no terminal to ask on"),
		"give --json with a case to judge it, --dialogue to be asked by a program, or --plain to be asked line by line")
}

// askRole is the first question of a case where nothing says who is on the job.
func askRole(ctx context.Context, prompter console.Prompter) (diagnose.Role, error) {
	i, err := prompter.Select(ctx, console.Question{
		Text: "Who is on the job?",
		Options: []console.Option{
			{Text: "I own the yard, and the collar went silent", ID: string(diagnose.Homeowner)},
			{Text: "I am a technician with a meter and a spade", ID: string(diagnose.Technician)},
			{Text: "I help a caller by voice", ID: string(diagnose.Support)},
		},
	})
	if err != nil {
		return "", err
	}
	return []diagnose.Role{diagnose.Homeowner, diagnose.Technician, diagnose.Support}[i], nil
}

// freeName is a case file of today that does not exist yet.
func freeName(folder string, now time.Time) (string, error) {
	if folder != "" {
		if err := os.MkdirAll(folder, 0o755); err != nil {
			return "", fmt.Errorf("making the case folder: %w", err)
		}
	}
	const mostADay = 1000
	for n := 1; n <= mostADay; n++ {
		name := "case-" + now.Format("2006-01-02")
		if n > 1 {
			name += fmt.Sprintf("-%d", n)
		}
		if file := filepath.Join(folder, name+".yaml"); !exists(file) {
			return file, nil
		}
	}
	return "", withHint(errors.New("no free name is left for a case of today"), "name the case yourself")
}

func exists(file string) bool {
	_, err := os.Lstat(file)
	return !errors.Is(err, fs.ErrNotExist)
}

// quoteArgument writes a file name so that it pastes into a shell.
func quoteArgument(text string) string {
	if strings.Trim(text, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_./:\\") == "" {
		return text
	}
	return "'" + strings.ReplaceAll(text, "'", `'\''`) + "'"
}
