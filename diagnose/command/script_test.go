package command_test

import (
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"loopfault/diagnose/command"
)

var update = flag.Bool("update", false, "rewrite what the scripts compare with")

// TestMain lets the scripts run the program itself, as a process of its own.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"loopfault": func() { os.Exit(command.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) },
	})
}

// TestScripts plays the stories of testdata/script: each is a person at a shell.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 filepath.Join("..", "..", "testdata", "script"),
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		UpdateScripts:       *update,
		Setup: func(e *testscript.Env) error {
			yards, err := filepath.Abs(filepath.Join("..", "..", "testdata", "yards"))
			if err != nil {
				return err
			}
			e.Setenv("YARDS", yards)
			e.Setenv("XDG_CONFIG_HOME", filepath.Join(e.WorkDir, "config")) // a person without settings
			e.Setenv("NO_COLOR", "1")
			return nil
		},
	})
}
