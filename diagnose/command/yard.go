package command

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"loopfault/diagnose/quantity"
	"loopfault/diagnose/report/draw"
	"loopfault/diagnose/yard"
)

func newYard(p *program) *cobra.Command {
	return newFamily("yard", "As-built maps: check, show, import, export, update",
		newYardCheck(p), newYardShow(p), newYardImport(p), newYardExport(p), newYardUpdate(p))
}

// loadYard reads a map, saying what to do where there is none.
func loadYard(file string) (*yard.Map, error) {
	m, err := yard.Load(file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, withHint(fmt.Errorf("there is no yard file %s", file), "check the name; a yard of which nothing is known needs no file")
	}
	return m, err
}

func newYardCheck(p *program) *cobra.Command {
	return &cobra.Command{
		Use: "check FILE...", Short: "Say whether maps can be used",
		Long:    "Read as-built maps strictly and report every fault as FILE:LINE:COLUMN.",
		Example: "  loopfault yard check orchard.yaml",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usagef("", "the yard file is missing")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			s, err := p.settings()
			if err != nil {
				return err
			}
			var bad []error
			for _, file := range args {
				m, err := loadYard(file)
				if err != nil {
					bad = append(bad, err)
					continue
				}
				fmt.Fprintf(p.Out, "%s: good: %s\n", clean(file), yardSummary(m, s.Units))
			}
			return allFaults(bad)
		},
	}
}

func yardSummary(m *yard.Map, u quantity.Units) string {
	text := "loop " + estimate(m.BoundaryLength(), u) + ", lead-in " + estimate(m.LeadInLength(), u)
	if n := len(m.Features); n > 0 {
		text += fmt.Sprintf(", %d features", n)
	}
	if !m.HasPath() {
		text += ", no path to draw"
	}
	return text
}

func estimate(e yard.Estimate, u quantity.Units) string {
	text := quantity.FormatLength(e.Value, u) + " give or take " + quantity.FormatLength(e.SD, u)
	if !e.Known {
		text += " (not known; typical)"
	}
	return text
}

// printYard writes a map as words and figures.
func printYard(out io.Writer, m *yard.Map, u quantity.Units) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	row := func(name, value string) { fmt.Fprintf(w, "%s\t%s\n", name, clean(value)) }
	or := func(value string) string {
		if value == "" {
			return "unknown"
		}
		return value
	}
	row("yard", or(m.Name))
	row("wire", fmt.Sprintf("%s, %s, %s", m.Wire.Gauge, or(m.Wire.Material), or(m.Wire.Strands)))
	row("boundary", estimate(m.BoundaryLength(), u))
	row("lead-in", "2 legs of "+estimate(m.LeadInLength(), u))
	row("whole wire", estimate(m.TotalLength(), u))
	if m.InstalledYear > 0 {
		row("installed", fmt.Sprint(m.InstalledYear))
	}
	if m.Soil.TemperatureC != nil {
		row("soil", quantity.FormatTemperature(*m.Soil.TemperatureC, u)+", "+or(m.Soil.Moisture))
	}
	for _, f := range m.Features {
		where := quantity.FormatRange(f.FromM, f.ToM, u)
		if f.Unplaced {
			where = "somewhere"
		}
		note := f.Note
		if f.Found {
			note = "found on the map"
		}
		if note != "" {
			where += " (" + note + ")"
		}
		row(string(f.Kind), where)
	}
	return w.Flush()
}

func newYardShow(p *program) *cobra.Command {
	var output, format string
	formats := []string{"text", "svg"}
	c := &cobra.Command{
		Use: "show FILE", Short: "Show what a map says, and draw it",
		Long: `Show what a map says and draw it: as text for the terminal, or as SVG. Where there is no path
only the wire is drawn, as a strip.`,
		Example: "  loopfault yard show orchard.yaml --units m\n  loopfault yard show orchard.yaml --format svg -o orchard.svg",
		Args:    oneArgument("yard file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !cmd.Flags().Changed("format") && strings.HasSuffix(strings.ToLower(output), ".svg") {
				format = "svg"
			}
			if err := oneOf("format", format, formats); err != nil {
				return err
			}
			s, err := p.settings()
			if err != nil {
				return err
			}
			m, err := loadYard(args[0])
			if err != nil {
				return err
			}
			scene := draw.Scene{Yard: m, Units: s.Units}
			return p.output(output, true, func(w io.Writer) error {
				if format == "svg" {
					drawing := draw.StripSVG(scene)
					if m.HasPath() {
						drawing = draw.YardSVG(scene)
					}
					_, err := io.WriteString(w, drawing)
					return err
				}
				if err := printYard(w, m, s.Units); err != nil {
					return err
				}
				columns, ascii := p.page()
				if m.HasPath() {
					fmt.Fprintln(w)
					io.WriteString(w, draw.YardText(scene, columns, mapRows, ascii))
				}
				_, err := fmt.Fprintf(w, "\n%s", draw.StripText(scene, columns, ascii))
				return err
			})
		},
	}
	c.Flags().StringVar(&format, "format", "text", "`FORMAT`: text or svg")
	addOutput(c, &output)
	_ = c.RegisterFlagCompletionFunc("format", fixed(formats...))
	return c
}

// mapRows is how high a map is drawn: with the words above it, it fits a screen.
const mapRows = 20

func newYardImport(p *program) *cobra.Command {
	var output string
	var force bool
	c := &cobra.Command{
		Use: "import FILE", Short: "Make a map of a GeoJSON or GPX file",
		Long: `Make an as-built map of a GeoJSON file or a GPX track, such as a walk along the boundary with a
phone. What was left out or guessed is said on standard error.`,
		Example: "  loopfault yard import walk.gpx -o orchard.yaml",
		Args:    oneArgument("GeoJSON or GPX file"),
		RunE: func(_ *cobra.Command, args []string) error {
			s, err := p.settings()
			if err != nil {
				return err
			}
			data, err := os.ReadFile(args[0])
			if err != nil {
				return fmt.Errorf("importing a map: %w", err)
			}
			read := yard.ImportGeoJSON
			if isXML(data) {
				read = yard.ImportGPX
			}
			m, report, err := read(data)
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			m.Loop.PathUnits = s.Units
			fmt.Fprintf(p.Err, "read: %d points, %d kept, %s off the line kept (root mean square)\n",
				report.Points, report.Kept, quantity.FormatLength(report.RMSM, s.Units))
			for _, note := range report.Notes {
				fmt.Fprintf(p.Err, "note: %s\n", clean(note))
			}
			return p.output(output, force, func(w io.Writer) error {
				_, err := w.Write(m.Marshal())
				return err
			})
		},
	}
	addOutput(c, &output)
	c.Flags().BoolVar(&force, "force", false, "write over a file that exists")
	return c
}

// isXML tells a GPX file from a GeoJSON one by how it begins.
func isXML(data []byte) bool {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	return bytes.HasPrefix(bytes.TrimLeft(data, " \t\r\n"), []byte("<"))
}

func newYardExport(p *program) *cobra.Command {
	var output, format string
	formats := []string{"geojson", "gpx"}
	c := &cobra.Command{
		Use: "export FILE", Short: "Write a map as GeoJSON or GPX",
		Long:    "Write an as-built map as GeoJSON or GPX. Its path must have an origin, which ties it to the earth.",
		Example: "  loopfault yard export orchard.yaml --format gpx -o orchard.gpx",
		Args:    oneArgument("yard file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !cmd.Flags().Changed("format") && strings.HasSuffix(strings.ToLower(output), ".gpx") {
				format = "gpx"
			}
			if err := oneOf("format", format, formats); err != nil {
				return err
			}
			m, err := loadYard(args[0])
			if err != nil {
				return err
			}
			made, err := m.GeoJSON()
			if format == "gpx" {
				made, err = m.GPX()
			}
			if err != nil {
				return fmt.Errorf("exporting %s: %w", args[0], err)
			}
			return p.output(output, true, func(w io.Writer) error {
				_, err := w.Write(made)
				return err
			})
		},
	}
	c.Flags().StringVar(&format, "format", "geojson", "`FORMAT`: geojson or gpx")
	addOutput(c, &output)
	_ = c.RegisterFlagCompletionFunc("format", fixed(formats...))
	return c
}
