package report

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// postRoom is the longest post, in characters.
const postRoom = 500

// Post is the result in a few lines of plain text to copy into a message: the question, the answer with its interval, what it rests
// on, and that it is about choice. At most 500 characters; a long question is cut short, a number never.
func Post(r analysis.Result, about About) string {
	n := about.names(r.Test, r.Control, r.Settings.LowerWord, r.Settings.UpperWord)
	n.Test, n.Control = clip(n.Test, 40), clip(n.Control, 40)
	lines := append([]string{postAnswer(r, n)}, sentence(restsOnShort(r)), choiceOnly)
	rest := strings.Join(lines, "\n")
	question := []rune(question(about, n))
	if room := postRoom - 1 - utf8.RuneCountInString(rest); len(question) > room {
		question = append([]rune(strings.TrimRight(string(question[:room-1]), " ")), '…')
	}
	return string(question) + "\n" + rest
}

// postAnswer is the answer with its interval and what that settles, in two or three short sentences.
func postAnswer(r analysis.Result, n names) string {
	share, low, high := answer(r.Headline)
	if !isShare(share) {
		return "No answer: " + r.Verdict.Sentence
	}
	s := fmt.Sprintf("Of 100 fish about %s would take %s, the others %s", OutOf100(share), n.Test, n.Control)
	if strings.Contains(OutOf100(share), " ") { // under 1, over 99
		s = strings.Replace(s, "about ", "", 1)
	}
	if interval := Interval100(low, high); interval != Missing {
		s += fmt.Sprintf(" (%s interval %s)", levelOf(r), interval)
	}
	return s + ". " + settles(r, n)
}

// settles says what a verdict settles, in one sentence.
func settles(r analysis.Result, n names) string {
	switch r.Verdict.Code {
	case analysis.TestTakesMore:
		return "The data favour " + n.Test + "."
	case analysis.ControlTakesMore:
		return "The data favour " + n.Control + "."
	case analysis.Even:
		return "For the purpose of this trial the two are even."
	default:
		return "Not enough to tell which is taken more; that is no sign that neither is."
	}
}

// restsOnShort says how many fish and anglers an answer rests on.
func restsOnShort(r analysis.Result) string {
	how := "which hung lower drawn by chance and swapped by rule"
	if r.Settings.Source != trial.Drawn {
		how = "which hung lower as a catch table has it"
	}
	return fmt.Sprintf("%s by %s, both flies on one line, %s", Counted(r.Counts.Analysed, "fish", "fish"), Counted(landing(r.Anglers), "angler", "anglers"), how)
}
