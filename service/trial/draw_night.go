package trial

import (
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// DrawNight is a trial's list of words: between registration and the first unit that is handed out every member may add
// one. They are mixed into the draw, in their order, so that who made the seed could not know what it would come to.
// ClosedAt is nil while words are taken.
type DrawNight struct {
	ClosedAt *time.Time
	Words    []DrawWord
}

// DrawWord is one member's word, in Unicode's form NFC. N counts from 1. AccountID is zero once its giver was erased; the
// word stays, because the draw hangs on it.
type DrawWord struct {
	TrialID   ID
	N         int
	AccountID ID
	Word      string
	At        time.Time
}

// Texts returns the words alone, as AllocationKey takes them.
func (n DrawNight) Texts() []string {
	texts := make([]string, len(n.Words))
	for i, w := range n.Words {
		texts[i] = w.Word
	}
	return texts
}

// The limits of draw night.
const (
	MostWords   = 20
	longestWord = 40
)

// CheckWord returns the fault of a word for the draw.
func CheckWord(word string) error {
	var f Faults
	n := utf8.RuneCountInString(word)
	switch {
	case !utf8.ValidString(word) || strings.ContainsFunc(word, func(r rune) bool { return unicode.IsSpace(r) || !unicode.IsGraphic(r) }):
		f.Add("word", "has blanks, or characters that cannot be seen; accepted: one word of 1 to %d characters", longestWord)
	case n < 1 || n > longestWord:
		f.Add("word", "has %d characters; accepted: one word of 1 to %d characters", n, longestWord)
	}
	return f.Err("word.invalid", "the word has a fault")
}

// TakesWord returns nil when the trial takes another word for its draw.
func (t Trial) TakesWord(night DrawNight) error {
	switch {
	case t.Source == Recorded:
		return Fail(Conflict, "trial.recorded", "the trial's source is recorded: there is no draw to which a word could be added")
	case night.ClosedAt != nil:
		return Fail(Conflict, "words.closed", "the list of words was closed at %s; the draw stands", night.ClosedAt.UTC().Format(time.RFC3339))
	case t.State != Registered && t.State != Open && t.State != Paused:
		return Fail(Conflict, "trial.state", "the trial is %s; words are taken from its registration to the first unit that is handed out", t.State)
	case len(night.Words) >= MostWords:
		return Fail(Conflict, "words.full", "%d words were given, which is as many as the draw takes", MostWords)
	}
	return nil
}
