package strictyaml

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"
)

// The limits of a file. The largest real ones, the knowledge base and the map of
// a long wire, are an eighth of it; the worst one of this size is read in 3 s.
const (
	MaxBytes = 2 << 20 // length of the file
	MaxDepth = 32      // lists and mappings inside one another
)

// Document is one parsed document: right as YAML, nothing said about its meaning.
type Document struct {
	File string // as it is named in faults
	root *yaml.Node
}

// Decode reads the one document in data into v, a pointer. All faults come back
// at once, as [Faults]; v is then filled as far as it could be. The file is only
// a name for the faults.
func Decode(file string, data []byte, v any) error {
	doc, err := Parse(file, data)
	if err != nil {
		return err
	}
	return doc.Decode(v)
}

// Parse reads the one document in data. The error is of type [Faults].
func Parse(file string, data []byte) (*Document, error) {
	if f := badBytes(file, data); f != nil {
		return nil, Faults{*f}
	}
	doc := &Document{File: file}
	loader, err := yaml.NewLoader(bytes.NewReader(data))
	if err != nil {
		return nil, fmt.Errorf("start reading %s: %w", file, err)
	}
	var first, second yaml.Node
	switch err := loader.Load(&first); {
	case errors.Is(err, io.EOF):
		return nil, Faults{{File: file, Line: 1, Column: 1, Message: emptyFile}}
	case err != nil:
		return nil, Faults{syntaxFault(file, err)}
	}
	doc.root = &first
	if first.Kind == yaml.DocumentNode && len(first.Content) == 1 {
		doc.root = first.Content[0]
	}
	var faults Faults
	if isEmpty(doc.root) {
		faults.Add(file, Pos{1, 1}, emptyFile)
	} else {
		doc.checkForm(doc.root, 1, &faults)
	}
	switch err := loader.Load(&second); {
	case errors.Is(err, io.EOF):
	case err != nil:
		faults = append(faults, syntaxFault(file, err))
	default:
		faults.Add(file, Pos{second.Line, second.Column}, "a second document starts here; expected one document a file")
	}
	if err := faults.Err(); err != nil {
		return nil, err
	}
	return doc, nil
}

const emptyFile = "the file is empty; expected fields such as \"name: value\""

// Decode reads the document into v, a pointer. The error is of type [Faults].
func (d *Document) Decode(v any) error {
	b := binder{file: d.File}
	b.decode(d.root, v)
	return b.faults.Err()
}

// Pos is the position of the value at a path of field names (string) and list
// places (int, from 0). Where the path leads to nothing, it is the position of
// the last part that exists, which is where the missing part belongs.
func (d *Document) Pos(path ...any) Pos {
	n, _ := d.find(path)
	return Pos{n.Line, n.Column}
}

// Has tells whether the path leads to a value.
func (d *Document) Has(path ...any) bool {
	_, ok := d.find(path)
	return ok
}

// KeyPos is the position of the last field name on the path instead of its value.
func (d *Document) KeyPos(path ...any) Pos {
	if len(path) == 0 {
		return d.Pos()
	}
	parent, ok := d.find(path[:len(path)-1])
	if key, isName := path[len(path)-1].(string); ok && isName && parent.Kind == yaml.MappingNode {
		for i := 0; i+1 < len(parent.Content); i += 2 {
			if parent.Content[i].Value == key {
				return Pos{parent.Content[i].Line, parent.Content[i].Column}
			}
		}
	}
	return d.Pos(path...)
}

func (d *Document) find(path []any) (*yaml.Node, bool) {
	n := d.root
	for _, step := range path {
		next := child(n, step)
		if next == nil {
			return n, false
		}
		n = next
	}
	return n, true
}

func child(n *yaml.Node, step any) *yaml.Node {
	switch step := step.(type) {
	case string:
		if n.Kind != yaml.MappingNode {
			return nil
		}
		for i := 0; i+1 < len(n.Content); i += 2 {
			if n.Content[i].Value == step {
				return n.Content[i+1]
			}
		}
	case int:
		if n.Kind == yaml.SequenceNode && step >= 0 && step < len(n.Content) {
			return n.Content[step]
		}
	}
	return nil
}

// checkForm walks the whole tree for what no file of ours may use, whatever it means.
func (d *Document) checkForm(n *yaml.Node, depth int, faults *Faults) {
	at := Pos{n.Line, n.Column}
	if depth > MaxDepth {
		faults.Add(d.File, at, "nested more than %d deep; expected a flatter file", MaxDepth)
		return
	}
	if n.Anchor != "" {
		faults.Add(d.File, at, "anchor &%s is not allowed; expected the value itself", n.Anchor)
	}
	if n.Style&yaml.TaggedStyle != 0 {
		faults.Add(d.File, at, "tag %s is not allowed; expected a plain value", n.Tag)
	}
	switch n.Kind {
	case yaml.AliasNode:
		faults.Add(d.File, at, "alias *%s is not allowed; expected the value itself", n.Value)
	case yaml.ScalarNode:
		if i := strings.IndexFunc(n.Value, forbidden); i >= 0 {
			r, _ := utf8.DecodeRuneInString(n.Value[i:])
			faults.Add(d.File, at, "the text holds the control character U+%04X; expected plain text", r)
		}
	case yaml.SequenceNode:
		for _, item := range n.Content {
			d.checkForm(item, depth+1, faults)
		}
	case yaml.MappingNode:
		first := make(map[string]int, len(n.Content)/2)
		for i := 0; i+1 < len(n.Content); i += 2 {
			key, value := n.Content[i], n.Content[i+1]
			d.checkForm(key, depth+1, faults)
			d.checkForm(value, depth+1, faults)
			if key.Kind != yaml.ScalarNode {
				continue // the binder says that a field name must be text
			}
			if line, twice := first[key.Value]; twice {
				faults.Add(d.File, Pos{key.Line, key.Column},
					"field %s is given twice, first in line %d; expected it once", quote(key.Value), line)
			} else {
				first[key.Value] = key.Line
			}
		}
	}
}

func isEmpty(n *yaml.Node) bool {
	return n.Kind == yaml.ScalarNode && n.Style == 0 && n.Value == "" || n.Kind == yaml.DocumentNode
}

// badBytes finds what makes data no text at all.
func badBytes(file string, data []byte) *Fault {
	if len(data) > MaxBytes {
		return &Fault{file, 1, 1, fmt.Sprintf("the file has %d bytes; expected at most %d", len(data), MaxBytes)}
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff")) // a byte order mark takes no column
	line, column := 1, 1
	for i := 0; i < len(data); {
		r, size := rune(data[i]), 1
		if r >= utf8.RuneSelf {
			r, size = utf8.DecodeRune(data[i:])
		}
		switch {
		case r == utf8.RuneError && size == 1:
			return &Fault{file, line, column,
				fmt.Sprintf("byte 0x%02x is not UTF-8; expected a text file in UTF-8", data[i])}
		case r == '\n':
			line, column = line+1, 0
		case r == '\r' && i+1 < len(data) && data[i+1] == '\n':
		case forbidden(r):
			return &Fault{file, line, column,
				fmt.Sprintf("control character U+%04X; expected a text file", r)}
		}
		column++
		i += size
	}
	return nil
}
