package journal

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const casesFolder = "../../testdata/cases"

func TestEveryCaseOfTheCorpusReads(t *testing.T) {
	t.Parallel()
	paths, err := filepath.Glob(filepath.Join(casesFolder, "*.yaml"))
	require.NoError(t, err)
	require.Greater(t, len(paths), 5)
	read := 0
	for _, path := range paths {
		if !strings.Contains(fileText(t, path), "answers:") {
			continue // a yard that a case names
		}
		c, warnings, err := Read(path, options(t))
		require.NoError(t, err)
		assert.Empty(t, warnings)
		assert.NotEmpty(t, c.Log, path)
		read++
	}
	t.Logf("%d cases", read)
}

// One fault a file: where it is found and what is said of it.
var badCases = map[string]string{
	"unknown-field":   `:4:24: unknown field "value"`,
	"bare-number":     `:4:33: "12.3": a resistance needs its unit, such as`,
	"wrong-unit":      `:4:33: "12.3 nF": "nF" is not a unit of resistance: expected`,
	"not-a-number":    `:4:33: "NaN": expected a resistance, such as`,
	"negative":        `:4:33: "-12.3 ohm": a resistance cannot be negative`,
	"beyond-the-wire": `:4:22: 561 ft is beyond the wire; expected a distance from terminal A of at most 560 ft`,
	"unknown-answer":  `:4:38: "flickering" is no answer to continuity-sign; expected complete, broken, dark, none-fitted`,
	"unknown-check":   `:4:13: "moon-phase" is not a check; expected`,
	"second-document": `a second document starts here; expected one document a file`,
	"duplicate-key":   `:4:46: field "answer" is given twice`,
	"alias-bomb":      `:2:8: anchor &a is not allowed`,
	"empty":           `:1:1: the file is empty; expected fields`,
	"binary":          `:2:1: control character U+007F; expected a text file`,
	"unknown-role":    `:2:7: "gardener" is not a role; expected homeowner, technician or support`,
	"yard-outside":    `:2:7: the yard cannot be read: it lies outside the case's folder`,
	"newer":           `was written by a newer version (schema 2, this one knows 1)`,
}

func TestBadCaseCorpus(t *testing.T) {
	t.Parallel()
	files, err := os.ReadDir(filepath.Join(casesFolder, "bad"))
	require.NoError(t, err)
	assert.Len(t, files, len(badCases), "every file has its words, and the other way round")
	for name, want := range badCases {
		path := filepath.Join(casesFolder, "bad", name+".bad.yaml")
		before := fileText(t, path)
		_, _, err := Read(path, options(t))
		require.Error(t, err, name)
		assert.Contains(t, err.Error(), path, name)
		assert.Contains(t, err.Error(), want, name)
		_, err = Open(path, options(t))
		require.Error(t, err, name)
		assert.Equal(t, before, fileText(t, path), name)
	}
}
