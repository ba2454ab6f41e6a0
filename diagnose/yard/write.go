package yard

import (
	"bytes"
	"encoding/json"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"loopfault/diagnose/quantity"
)

// Marshal writes the map as a file that [Parse] reads back to the same map.
// What is unknown is left out, and so is what geometry finds again.
func (m *Map) Marshal() []byte {
	var b bytes.Buffer
	if m == nil {
		return []byte("yard: unknown\n")
	}
	name := unknown
	if m.Name != "" {
		name = text(m.Name)
	}
	fmt.Fprintf(&b, "yard: %s\n", name)
	u := m.Units()

	var wire group
	if m.Wire.Gauge.Known() {
		wire.add("gauge", m.Wire.Gauge.String())
	}
	wire.add("material", m.Wire.Material)
	wire.add("strands", m.Wire.Strands)
	wire.write(&b, "wire")

	var transmitter group
	if at := m.Transmitter.At; at != nil {
		transmitter.add("at", "["+quantity.WriteLength(at.X, u)+", "+quantity.WriteLength(at.Y, u)+"]")
	}
	if r := m.Transmitter.RatedLengthM; r != nil {
		transmitter.add("rated_length", "["+quantity.WriteLength(r[0], u)+", "+quantity.WriteLength(r[1], u)+"]")
	}
	transmitter.add("earthed", m.Transmitter.Earthed)
	transmitter.addBool("arrester", m.Transmitter.Arrester)
	transmitter.write(&b, "transmitter")

	if m.InstalledYear != 0 {
		fmt.Fprintf(&b, "installed: %d\n", m.InstalledYear)
	}
	var soil group
	if t := m.Soil.TemperatureC; t != nil {
		soil.add("temperature", quantity.WriteTemperature(*t))
	}
	soil.add("moisture", m.Soil.Moisture)
	soil.write(&b, "soil")

	var leadIn group
	leadIn.addLength("length", m.LeadIn.LengthM, u)
	leadIn.addBool("twisted", m.LeadIn.Twisted)
	leadIn.write(&b, "lead_in")

	m.Loop.write(&b)
	if m.AreaM2 != nil {
		fmt.Fprintf(&b, "area: %s\n", quantity.WriteArea(*m.AreaM2))
	}
	m.writeFeatures(&b)
	if m.Baseline != nil {
		fmt.Fprintf(&b, "baseline: %s\n", m.Baseline.flow(u))
	}
	return b.Bytes()
}

func (l *Loop) write(b *bytes.Buffer) {
	if l.LengthM == nil && l.LengthUncertainty == nil && len(l.Path) == 0 {
		return
	}
	u := l.PathUnits
	b.WriteString("loop:\n")
	if l.LengthM != nil {
		fmt.Fprintf(b, "  length: %s\n", quantity.WriteLength(*l.LengthM, u))
	}
	if l.LengthUncertainty != nil {
		fmt.Fprintf(b, "  length_uncertainty: %s\n", quantity.WritePercent(*l.LengthUncertainty))
	}
	if len(l.Path) == 0 {
		return
	}
	fmt.Fprintf(b, "  path:\n    units: %s\n", u)
	if o := l.Origin; o != nil {
		fmt.Fprintf(b, "    origin: [%s, %s]\n", degrees(o.Lon), degrees(o.Lat))
	}
	b.WriteString("    points:\n")
	for _, p := range l.Path {
		x, _, _ := strings.Cut(quantity.WriteLength(p.X, u), " ")
		y, _, _ := strings.Cut(quantity.WriteLength(p.Y, u), " ")
		fmt.Fprintf(b, "      - [%s, %s]\n", x, y)
	}
}

func (m *Map) writeFeatures(b *bytes.Buffer) {
	head := "features:\n"
	for _, f := range m.Features {
		if f.Found {
			continue
		}
		b.WriteString(head)
		head = ""
		fmt.Fprintf(b, "  - %s\n", f.flow(m.Units()))
	}
}

// flow writes the feature as one line of a features list.
func (f Feature) flow(u quantity.Units) string {
	var g group
	switch {
	case f.Unplaced:
		g.add("at", unknown)
	case f.FromM == f.ToM:
		g.add("at", quantity.WriteLength(f.FromM, u))
	default:
		g.add("from", quantity.WriteLength(f.FromM, u))
		g.add("to", quantity.WriteLength(f.ToM, u))
	}
	g.add("kind", string(f.Kind))
	if f.Note != "" {
		g.add("note", text(f.Note))
	}
	return g.flow()
}

// flow writes the baseline as one flow mapping.
func (b *Baseline) flow(u quantity.Units) string {
	var g group
	g.add("date", b.Date)
	for _, f := range b.Fields() {
		if r := *f.Reading; r != nil {
			g.add(f.Quantity, quantity.WriteReading(r.Value, r.Over, f.Unit))
		}
	}
	if len(b.Widths) > 0 {
		widths := make([]string, len(b.Widths))
		for i, w := range b.Widths {
			widths[i] = fmt.Sprintf("{at: %s, width: %s}", quantity.WriteLength(w.AtM, u), quantity.WriteLength(w.WidthM, u))
		}
		g.add("widths", "["+strings.Join(widths, ", ")+"]")
	}
	return g.flow()
}

// group is a flow mapping in the making; empty values are left out.
type group []string

func (g *group) add(name, value string) {
	if value != "" {
		*g = append(*g, name+": "+value)
	}
}

func (g *group) addBool(name string, value *bool) {
	if value != nil {
		g.add(name, strconv.FormatBool(*value))
	}
}

func (g *group) addLength(name string, lengthM *float64, u quantity.Units) {
	if lengthM != nil {
		g.add(name, quantity.WriteLength(*lengthM, u))
	}
}

func (g group) flow() string { return "{" + strings.Join(g, ", ") + "}" }

func (g group) write(b *bytes.Buffer, name string) {
	if len(g) > 0 {
		fmt.Fprintf(b, "%s: %s\n", name, g.flow())
	}
}

// plainText is what needs no quotes in any place of a YAML file.
var plainText = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9 ./()+-]*[A-Za-z0-9.)]$`)

// text writes a string that reads back as it is. A JSON string is a YAML one.
func text(s string) string {
	if plainText.MatchString(s) && s != unknown {
		return s
	}
	var b strings.Builder
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if e.Encode(s) != nil {
		return `""`
	}
	return strings.TrimSpace(b.String())
}

func degrees(d float64) string { return strconv.FormatFloat(d, 'f', -1, 64) }
