package trial

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
)

// Registration is a registered trial as everybody may read of it, in the club or not: that it was registered, with which
// commitment, and what became of it. Its texts name nobody of the club and none of its waters. Reason, AbandonedAt and Fish (all that were
// logged) are an abandoned trial's. Published is the edition of its package that stands, nil where there is none; RepeatOf the trial that
// it repeats, Repeats those registered here that repeat it.
type Registration struct {
	Trial       Trial
	Title       string
	Question    string
	Reason      string
	AbandonedAt *time.Time
	Fish        int64
	Published   *Publication
	RepeatOf    ID
	Repeats     []ID
}

// NewRegistration returns the public entry of a registered trial. changes are those of its state, people the names of the
// club's members and of the trial's anglers, fish how many were logged.
func NewRegistration(t Trial, p Protocol, changes []StateChange, people []string, fish int64) Registration {
	hidden := p.hiddenNames(people)
	e := Registration{Trial: t, Title: Veil(p.Title, hidden), Question: Veil(p.Question, hidden), RepeatOf: p.RepeatOf}
	for _, c := range changes {
		if c.To == Abandoned {
			e.Reason, e.AbandonedAt, e.Fish = Veil(c.Reason, hidden), &c.At, fish
		}
	}
	return e
}

// Veiled returns the text without the names of the given people and of the protocol's waters.
func (p Protocol) Veiled(text string, people []string) string {
	return Veil(text, p.hiddenNames(people))
}

// hiddenNames says what stands in a public text in place of each person's and each water's name.
func (p Protocol) hiddenNames(people []string) map[string]string {
	names := make(map[string]string, len(p.Waters)+len(people))
	for _, name := range people {
		names[name] = "(name withheld)"
	}
	for i, w := range p.Waters {
		names[w.Name] = fmt.Sprintf("(water %d)", i+1)
	}
	return names
}

// Veil replaces every name that stands in the text as a whole word or words, in upper or lower case, by what it maps to; longer
// names come first.
func Veil(text string, names map[string]string) string {
	order := make([]string, 0, len(names))
	for name := range names {
		if strings.TrimSpace(name) != "" {
			order = append(order, name)
		}
	}
	slices.SortFunc(order, func(a, b string) int { return cmp.Or(cmp.Compare(len(b), len(a)), cmp.Compare(a, b)) })
	for _, name := range order {
		text = veilOne([]rune(text), []rune(name), names[name])
	}
	return text
}

func veilOne(text, name []rune, with string) string {
	var b strings.Builder
	for i := 0; i < len(text); {
		end := i + len(name)
		if end <= len(text) && strings.EqualFold(string(text[i:end]), string(name)) && (i == 0 || !inWord(text[i-1])) && (end == len(text) || !inWord(text[end])) {
			b.WriteString(with)
			i = end
			continue
		}
		b.WriteRune(text[i])
		i++
	}
	return b.String()
}

func inWord(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }
