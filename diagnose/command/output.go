package command

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"slices"

	"github.com/natefinch/atomic"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"loopfault/diagnose/console"
)

func addOutput(c *cobra.Command, into *string) {
	c.Flags().StringVarP(into, "output", "o", "", "write to `FILE` in place of standard output")
}

// output writes to the named file, whole or not at all, or to standard output.
// A file that exists is written over only where replace is set.
func (p *program) output(file string, replace bool, write func(io.Writer) error) error {
	var b bytes.Buffer
	if err := write(&b); err != nil {
		return err
	}
	if file == "" || file == "-" {
		_, err := p.Out.Write(b.Bytes())
		return err
	}
	if _, err := os.Lstat(file); err == nil && !replace {
		return withHint(fmt.Errorf("%s exists already and is left as it is", file), "name another file, or give --force")
	}
	if err := atomic.WriteFile(file, &b); err != nil {
		return fmt.Errorf("writing %s: %w", file, err)
	}
	fmt.Fprintf(p.Err, "written: %s\n", clean(file))
	return nil
}

// oneOf refuses a flag's value that is none of those allowed.
func oneOf(flag, value string, allowed []string) error {
	if slices.Contains(allowed, value) {
		return nil
	}
	return usagef("", "--%s: %q: expected %s", flag, value, listed(allowed))
}

// page is how wide results are laid out, and whether only ASCII may be used:
// the terminal's width up to what is easy to read, 80 where there is none.
func (p *program) page() (columns int, ascii bool) {
	const widest, usual = 100, 80
	columns = usual
	if f, ok := p.Out.(*os.File); ok {
		if width, _, err := term.GetSize(int(f.Fd())); err == nil && width > 0 {
			columns = min(width, widest)
		}
	}
	return columns, console.FromEnvironment(os.Getenv).ASCII
}
