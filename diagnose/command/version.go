package command

import (
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// Version is set when a release is linked: -ldflags "-X loopfault/diagnose/command.Version=1.2.3".
var Version string

// build is what is known of this program's making.
type build struct {
	Version  string `json:"version"`
	Revision string `json:"revision,omitempty"`
	Changed  bool   `json:"changed,omitempty"` // built with changes not committed
	Go       string `json:"go"`
	System   string `json:"system"`
}

func thisBuild() build {
	b := build{Version: Version, Go: runtime.Version(), System: runtime.GOOS + "/" + runtime.GOARCH}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return b.named()
	}
	if b.Version == "" && info.Main.Version != "(devel)" {
		b.Version = info.Main.Version
	}
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			b.Revision = s.Value
		case "vcs.modified":
			b.Changed = s.Value == "true"
		}
	}
	return b.named()
}

func (b build) named() build {
	if b.Version == "" {
		b.Version = "unreleased"
	}
	return b
}

func newVersion(p *program) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use: "version", Short: "Say which version this is",
		Example: "  loopfault version --json",
		Args:    noArguments,
		RunE: func(*cobra.Command, []string) error {
			b := thisBuild()
			if asJSON {
				return p.printJSON(b)
			}
			line := "loopfault " + b.Version
			if b.Revision != "" {
				line += " (" + b.Revision[:min(12, len(b.Revision))]
				if b.Changed {
					line += ", changed"
				}
				line += ")"
			}
			_, err := fmt.Fprintf(p.Out, "%s %s %s\n", line, b.Go, b.System)
			return err
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return c
}
