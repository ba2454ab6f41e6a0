package strictyaml

import (
	"errors"
	"strings"

	"go.yaml.in/yaml/v4"
)

// syntaxWords says the parser's complaints in the words of someone who knows
// the file but not the grammar. The first entry found in the message counts.
var syntaxWords = []struct{ complaint, words string }{
	{"mapping values are not allowed", `a second ": " in one line; expected quotes around text that holds ": "`},
	{"while parsing a flow sequence", `a list "[...]" is not closed or lacks a comma; expected "," or "]"`},
	{"while parsing a flow mapping", `a group "{...}" is not closed or lacks a comma; expected "," or "}"`},
	{"while parsing a flow node", `a bracket is not closed; expected a value, "]" or "}"`},
	{"while scanning a quoted scalar", `a quoted text is not closed or holds a wrong escape; expected the closing quote`},
	{"tab character", `a tab stands where the indentation is; expected spaces`},
	{"cannot start any token", `a value starts with a tab or a reserved character such as @ or %; expected spaces, or quotes around the text`},
	{"while parsing a block mapping", `the line does not fit the fields above it; expected "name: value" with the same indentation`},
	{"while parsing a block collection", `the line does not fit the list above it; expected "- " with the same indentation`},
	{"could not find expected ':'", `a field without a colon; expected "name: value"`},
	{"unknown anchor", `an alias (*name) is not allowed; expected the value itself, or quotes around the text`},
	{"max depth", `nested too deep; expected a flatter file`},
	{"while scanning a block scalar", `the block of text is wrongly indented; expected every line further in than its field`},
	{"incompatible YAML", `a line starts with %; expected no YAML directives`},
	{"directive", `a line starts with %; expected no YAML directives`},
	{"document start", `something stands after the end of the document; expected one document a file`},
	{"anchor", `a text starts with & or *; expected quotes around it`},
	{"alias", `a text starts with & or *; expected quotes around it`},
	{"tag", `a text starts with "!"; expected quotes around it`},
}

// syntaxFault turns an error of the YAML parser into a fault. The parser stops at
// the first, so there is only one.
func syntaxFault(file string, err error) Fault {
	f := Fault{File: file, Line: 1, Column: 1, Message: "this is not YAML: " + err.Error()}
	var load *yaml.LoadError
	if !errors.As(err, &load) {
		return f
	}
	f.Message = "this is not YAML: " + load.Message
	if load.Mark.Line > 0 {
		f.Line, f.Column = load.Mark.Line, max(load.Mark.Column, 1)
	}
	said := load.ContextMsg + ": " + load.Message
	for _, w := range syntaxWords {
		if strings.Contains(said, w.complaint) {
			f.Message = w.words
			break
		}
	}
	return f
}
