package report

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// A summary is one page for everybody, a club-night sheet one page for those who fished. Both say only what the result says, in
// short words; neither ranks anybody.

// Summary writes the result on one page in plain words, as an article of class report to stand in another page beside Style: the
// question, the answer, one hundred fish, how sure it is, what it does not show, and thanks. Errors come from w only.
func Summary(w io.Writer, r analysis.Result, about About) error {
	return writeSheet(w, "summary", newSummary(r, about))
}

// SummaryPage is Summary as a file that needs nothing else, under ContentPolicy.
func SummaryPage(w io.Writer, r analysis.Result, about About) error {
	return writeSheet(w, "summary.tmpl", newSummary(r, about))
}

// ClubNight writes the sheet for the evening on which the result is told, in large letters for one printed page: the answer, and a
// row for everybody who fished, by pseudonym and in the order of the pseudonyms. Its cells of class club-name are empty, and every
// row tells its pseudonym in data-pseudonym: names are added where the sheet is read, from a list that is never stored. Errors come
// from w only.
func ClubNight(w io.Writer, r analysis.Result, about About) error {
	return writeSheet(w, "club-night", newClubNight(r, about))
}

// ClubNightPage is ClubNight as a file that needs nothing else, under ContentPolicy.
func ClubNightPage(w io.Writer, r analysis.Result, about About) error {
	return writeSheet(w, "club-night.tmpl", newClubNight(r, about))
}

// sheet is what both pages show.
type sheet struct {
	page
	Plain, HowSure []string
	Not            []string
	How, Thanks    string
	Columns        [][]memberRow
	Size           string // class of the club-night sheet: few, some or many members
}

// memberRow is what one angler's fish did.
type memberRow struct{ Angler, Fish, Took, Heard string }

func writeSheet(w io.Writer, template string, s sheet) error {
	var b strings.Builder
	if err := templates.ExecuteTemplate(&b, template, s); err != nil {
		return fmt.Errorf("write a sheet of %s against %s: %w", s.Result.Test, s.Result.Control, err)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func newSummary(r analysis.Result, about About) sheet {
	s := sheet{page: newPage(r, about)}
	s.Heading = question(about, s.Names)
	s.Plain, s.HowSure, s.Not = plainAnswer(r, s.Names), plainlySure(r, s.Names), plainlyNot(r, s.Names)
	s.How, s.Thanks = plainlyHow(r, s.Names), thanks(r, about)
	return s
}

// plainAnswer is the answer in short sentences.
func plainAnswer(r analysis.Result, n names) []string {
	share, _, _ := answer(r.Headline)
	if !isShare(share) {
		return []string{"We cannot give an answer.", sentence(r.Verdict.Sentence)}
	}
	other := 1 - *share
	about := "about "
	if strings.Contains(OutOf100(share), " ") { // under 1, over 99
		about = ""
	}
	s := []string{fmt.Sprintf("Out of 100 fish, %s%s would take %s and %s %s.", about, OutOf100(share), the(n.Test), OutOf100(&other), the(n.Control))}
	switch r.Verdict.Code {
	case analysis.TestTakesMore:
		s = append(s, "So "+the(n.Test)+" is taken more.")
	case analysis.ControlTakesMore:
		s = append(s, "So "+the(n.Control)+" is taken more.")
	case analysis.Even:
		s = append(s, "So the two flies are as good as even.")
	default:
		s = append(s, "But we have too few fish to tell which fly is taken more.")
	}
	return s
}

// the gives a pattern's name its article, unless it is a code or brings one along.
func the(name string) string {
	if strings.HasPrefix(name, "pattern ") || strings.HasPrefix(strings.ToLower(name), "the ") {
		return name
	}
	return "the " + name
}

// plainlySure says how sure that is.
func plainlySure(r analysis.Result, n names) []string {
	_, low, high := answer(r.Headline)
	if Interval100(low, high) == Missing {
		return []string{"There is no number to be sure of."}
	}
	s := []string{
		fmt.Sprintf("Chance plays a part in fishing. With other fish on other days the number would not be the same. Our fish fit any number from %s to %s.", Limit100(low), Limit100(high)),
		fmt.Sprintf("If we did such a trial again and again, the true number would be inside such a range %s times out of 100.", strings.TrimSuffix(levelOf(r), "\u00a0%")),
	}
	switch {
	case r.Verdict.Code == analysis.Even:
		s = append(s, "All of that range is close to 50. A gap that small would not change what we tie.")
	case r.Verdict.Code == analysis.NotSettled:
		s = append(s, "50 is in that range, so the two flies may be even, or not. That is not the same as being even.")
	default:
		s = append(s, "50 is not in that range.")
	}
	if l, h := r.Prediction(); l != nil {
		s = append(s, fmt.Sprintf("Anglers are not all alike. For a new angler the number may be from %s to %s.", Limit100(l), Limit100(h)))
	}
	return s
}

// plainlyNot says what the result does not show.
func plainlyNot(r analysis.Result, n names) []string {
	s := []string{
		"We saw which fly the fish chose when both were in the water. We did not see how many more fish you would catch with one of them.",
		"It may be different on other waters, in other seasons, and with flies that somebody else tied.",
	}
	if r.Settings.Source == trial.Recorded {
		s = append(s, "Nobody drew lots for which fly hung lower. So a habit of the anglers may be part of the number.")
	} else {
		s = append(s, "The anglers knew which fly was which. The fish did not.")
	}
	return s
}

// plainlyHow says how it was done.
func plainlyHow(r analysis.Result, n names) string {
	s := fmt.Sprintf("Each angler fished both flies on one line: one at the %s, one at the %s. ", n.Lower, n.Upper)
	if r.Settings.Source == trial.Recorded {
		return s + "They wrote down which fly was lower and which fly each fish took."
	}
	when := "After a few fish, or after a set time, the flies changed places. "
	if r.Design == trial.PairedByOuting {
		when = "On the next day out the flies changed places. "
	}
	return s + "Lots were drawn for which fly was lower first. " + when + "So each fly had the better place as often as the other."
}

// guessed says what anglers guessed beforehand, by nobody's name; empty where nothing was, or where it would tell whose guess it is.
func guessed(about About) string {
	if len(about.Guesses) < 3 {
		return ""
	}
	guesses := make([]float64, len(about.Guesses))
	for i, g := range about.Guesses {
		guesses[i] = float64(g)
	}
	slices.Sort(guesses)
	return fmt.Sprintf("Before the first fish %s guessed this number: from %s to %s, the middle guess %s.",
		Counted(int64(len(guesses)), "angler", "anglers"), number(guesses[0]), number(guesses[len(guesses)-1]), number(middle(guesses)))
}

// thanks names nobody.
func thanks(r analysis.Result, about About) string {
	anglers := max(landing(r.Anglers), r.Counts.Anglers)
	if e := about.Effort; e != nil && e.Enrolled > 0 {
		s := fmt.Sprintf("Thank you to the %s who went out %s and wrote down %s", Counted(e.Enrolled, "angler", "anglers"), Counted(e.Outings, "time", "times"), Counted(r.Counts.Catches, "fish", "fish"))
		if e.BlankOutings > 0 {
			s += fmt.Sprintf(". %s gave no fish at all. They count too", Counted(e.BlankOutings, "day", "days"))
		}
		return s + "."
	}
	return fmt.Sprintf("Thank you to the %s who wrote down %s.", Counted(anglers, "angler", "anglers"), Counted(r.Counts.Catches, "fish", "fish"))
}

// Of so many members and fewer the sheet has one column, or two; of more it has three.
const (
	oneColumn  = 16
	twoColumns = 44
)

func newClubNight(r analysis.Result, about About) sheet {
	s := newSummary(r, about)
	columns := 3
	s.Size = "many"
	switch {
	case len(r.Anglers) <= oneColumn:
		columns, s.Size = 1, "few"
	case len(r.Anglers) <= twoColumns:
		columns, s.Size = 2, "some"
	}
	rows := make([]memberRow, len(r.Anglers))
	for i, a := range r.Anglers {
		fish, took := all(a.TestLower)+all(a.ControlLower), a.TestLower.Lower+a.ControlLower.Upper
		rows[i] = memberRow{Angler: a.Angler, Fish: Count(fish), Took: Missing, Heard: Missing}
		if fish > 0 {
			rows[i].Took = Count(took)
		}
		if heard := expit(a.ShrunkLogOdds); heard != nil {
			rows[i].Heard = OutOf100(heard)
		}
	}
	for i := range columns {
		s.Columns = append(s.Columns, rows[i*len(rows)/columns:(i+1)*len(rows)/columns])
	}
	return s
}
