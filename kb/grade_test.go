package kb

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// gradeLimit is the reading grade that every text for homeowners keeps to.
const gradeLimit = 7

// readability holds the counts of a text.
type readability struct{ sentences, words, syllables int }

// grade is the Flesch-Kincaid grade level,
//
//	0.39 words/sentences + 11.8 syllables/words - 15.59,
//
// after J. P. Kincaid, R. P. Fishburne, R. L. Rogers and B. S. Chissom,
// Derivation of new readability formulas for Navy enlisted personnel, Research
// Branch Report 8-75, Naval Technical Training Command, 1975.
func (r readability) grade() float64 {
	return 0.39*float64(r.words)/float64(r.sentences) + 11.8*float64(r.syllables)/float64(r.words) - 15.59
}

var (
	sentenceEnd = regexp.MustCompile(`[.?!]+["')]*(\s|$)`)
	wordForm    = regexp.MustCompile(`[\pL\pN]+(['’][\pL]+)?`)
	gap         = regexp.MustCompile(`\{\{(if|end)[^}]*\}\}`)
	field       = regexp.MustCompile(`\{\{[^}]*\}\}`)
)

// read counts a text. Gaps of phrases are read as a short word.
func read(text string) readability {
	text = field.ReplaceAllString(gap.ReplaceAllString(text, ""), "wire")
	r := readability{sentences: len(sentenceEnd.FindAllString(text, -1))}
	if !sentenceEnd.MatchString(text[max(0, len(text)-3):]) {
		r.sentences++ // an unfinished sentence at the end, such as a label
	}
	for _, word := range wordForm.FindAllString(text, -1) {
		r.words++
		r.syllables += syllables(word)
	}
	return r
}

func (r readability) plus(s readability) readability {
	return readability{r.sentences + s.sentences, r.words + s.words, r.syllables + s.syllables}
}

// syllables counts the syllables of an English word by its groups of vowels,
// with the usual corrections: a silent e or ed at the end, an ending le, and
// letters and digits that are spelled.
func syllables(word string) int {
	if strings.ToUpper(word) == word {
		return len(word) // A, AC, OL, 30
	}
	w := strings.TrimSuffix(strings.ToLower(word), "'s")
	for _, c := range []struct {
		word string
		n    int
	}{{"nf", 2}, {"lead-in", 2}, {"area", 3}, {"idea", 3}, {"being", 2}, {"radio", 3}, {"really", 3}, {"wire", 1}, {"does", 1}} {
		if w == c.word || w == c.word+"s" {
			return c.n
		}
	}
	const vowels = "aeiouy"
	n, inGroup := 0, false
	for _, r := range w {
		isVowel := strings.ContainsRune(vowels, r)
		if isVowel && !inGroup {
			n++
		}
		inGroup = isVowel
	}
	consonantBefore := func(suffix string) bool {
		stem, ok := strings.CutSuffix(w, suffix)
		return ok && stem != "" && !strings.ContainsRune(vowels, rune(stem[len(stem)-1]))
	}
	switch {
	case consonantBefore("le"):
	case strings.HasSuffix(w, "les") && n > 1:
		if !consonantBefore("les") {
			n--
		}
	case strings.HasSuffix(w, "e") && !strings.HasSuffix(w, "ee") && consonantBefore("e"):
		n--
	case consonantBefore("ed") && !strings.HasSuffix(w, "ted") && !strings.HasSuffix(w, "ded"):
		n--
	case consonantBefore("es") && !hasAnySuffix(w, "ses", "xes", "zes", "ches", "shes", "ces", "ges"):
		n--
	}
	return max(n, 1)
}

func hasAnySuffix(w string, suffixes ...string) bool {
	for _, s := range suffixes {
		if strings.HasSuffix(w, s) {
			return true
		}
	}
	return false
}

// Counts as in any dictionary.
func TestSyllables(t *testing.T) {
	t.Parallel()
	for word, want := range map[string]int{
		"wire": 1, "wires": 1, "the": 1, "loop": 1, "collar": 2, "battery": 3, "transmitter": 3, "box": 1, "whole": 1,
		"broken": 2, "cable": 2, "cables": 2, "outlet": 2, "electrician": 4, "unplug": 2, "unplugged": 2, "tested": 2,
		"trained": 1, "places": 2, "edges": 2, "lives": 1, "needs": 1, "see": 1, "signal": 2, "pieces": 2, "people": 2,
		"measure": 2, "OL": 2, "AC": 2, "30": 2, "neighbour's": 2, "rope": 1, "table": 2, "moles": 1, "sprinklers": 2,
	} {
		assert.Equal(t, want, syllables(word), word)
	}
}

// The formula worked by hand: 13 words in 2 sentences with 17 syllables are
// 0.39 x 6.5 + 11.8 x 17/13 - 15.59 = 2.376.
func TestGrade(t *testing.T) {
	t.Parallel()
	r := read("The pet is in the yard. Take the collar off and test the wire.")
	assert.Equal(t, readability{2, 14, 15}, r)
	assert.InDelta(t, 2.376, readability{2, 13, 17}.grade(), 0.001)
}

// passages are the texts of the base for a role, each read in one go by a
// person: a question with its steps, a cause, a repair, a caution.
func passages(b *Base, role string) map[string][]string {
	p := make(map[string][]string)
	for _, c := range b.Causes {
		p["cause "+c.ID] = []string{c.Means.For(role)}
	}
	for _, c := range b.Checks {
		texts := append([]string{c.Ask.For(role)}, c.How.For(role)...)
		for _, a := range c.Answers {
			texts = append(texts, a.Means.For(role))
		}
		p["check "+c.ID] = texts
	}
	for _, r := range b.Repairs {
		p["repair "+r.ID] = r.Do.For(role)
	}
	for _, c := range b.Cautions {
		p["caution "+c.ID] = []string{c.Text.For(role)}
	}
	for _, r := range b.Rules {
		p["rule "+r.ID] = []string{r.Text.For(role)}
	}
	for _, f := range b.Phrases {
		p["phrase "+f.ID] = []string{f.Text.For(role)}
	}
	return p
}

func TestReadingGrade(t *testing.T) {
	t.Parallel()
	b, err := Load()
	require.NoError(t, err)
	for _, role := range roles {
		var all readability
		var worst float64
		var worstName string
		for name, texts := range passages(b, role) {
			var r readability
			for _, text := range texts {
				r = r.plus(read(text))
			}
			all = all.plus(r)
			if g := r.grade(); g > worst {
				worst, worstName = g, name
			}
			if role == homeowner {
				assert.LessOrEqual(t, r.grade(), float64(gradeLimit), "%s for the homeowner: %s", name, strings.Join(texts, " "))
			}
		}
		t.Logf("reading grade for the %s: %.1f in all, at most %.1f (%s)", role, all.grade(), worst, worstName)
	}
}

// Every single question, label and sentence of a step is short.
func TestSentencesAreShort(t *testing.T) {
	t.Parallel()
	b, err := Load()
	require.NoError(t, err)
	limit := map[string]int{homeowner: 20, support: 30, technician: 30}
	for _, role := range roles {
		for name, texts := range passages(b, role) {
			for _, text := range texts {
				for _, sentence := range sentenceEnd.Split(text, -1) {
					words := len(wordForm.FindAllString(field.ReplaceAllString(sentence, "x"), -1))
					assert.LessOrEqual(t, words, limit[role], "%s for the %s: %s", name, role, sentence)
				}
			}
		}
	}
}
