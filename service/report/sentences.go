package report

import (
	"fmt"
	"slices"
	"strings"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// heading is what stands at the head of a report: the question, else the title, else what was compared.
func heading(about About, n names) string {
	switch {
	case about.Protocol != nil && about.Protocol.Question != "":
		return about.Protocol.Question
	case about.Title != "":
		return about.Title
	case about.Protocol != nil && about.Protocol.Title != "":
		return about.Protocol.Title
	default:
		return "Do fish take " + n.Test + " or " + n.Control + "?"
	}
}

// deck says in a line what kind of study this is.
func deck(r analysis.Result, n names) string {
	who := Counted(r.Counts.Anglers, "angler", "anglers")
	compared := fmt.Sprintf("%s and %s on one line, %s and %s", coded(n.Test, r.Test, "test"), coded(n.Control, r.Control, "control"), n.Lower, n.Upper)
	if r.Settings.Source == trial.Recorded {
		return fmt.Sprintf("From a catch table: %s, %s. Which way round the flies hung was not drawn here.", who, compared)
	}
	swap := "swapped by rule within the outing"
	if r.Design == trial.PairedByOuting {
		swap = "one way round for a whole outing"
	}
	return fmt.Sprintf("A randomised, position-swapped trial: %s, %s, %s, chance deciding which way round came first.", who, compared, swap)
}

// coded gives a pattern's name with its code and its role, by which the answer sentence calls it.
func coded(name, code, role string) string {
	if code == "" || name == patternName(code, "") || name == code {
		return name + " (the " + role + " pattern)"
	}
	return name + " (" + code + ", the " + role + " pattern)"
}

// sure says how sure the answer is, a sentence or two for each thing that a reader should weigh.
func sure(r analysis.Result, about About, n names) []string {
	share, low, high := answer(r.Headline)
	if !isShare(share) {
		return []string{"There is no answer to be sure of. " + sentence(r.Headline.Reason)}
	}
	var s []string
	level := levelOf(r)
	if interval := Interval100(low, high); interval != Missing {
		s = append(s, intervalSentence(r.Verdict.Code, interval, level, n, low, high))
	}
	if average := r.Headline.AverageShare; average != nil && share == average && isShare(r.Headline.Share) {
		typical := Share100(r.Headline.Share, r.Headline.ShareLow, r.Headline.ShareHigh)
		whose := "For a typical angler, with"
		if _, prevails := r.Prevailing(); prevails {
			whose = "With"
		}
		said := fmt.Sprintf("%s the position effect taken out, it is %s.", whose, typical)
		if OutOf100(average) != OutOf100(r.Headline.Share) {
			said += " The other number lies nearer to 50 because " + nearerBecause(r.MixedModel) + "."
		}
		s = append(s, said)
	}
	if l, h := r.Prediction(); l != nil {
		s = append(s, fmt.Sprintf("For another angler like ours: between %s and %s of 100.", Limit100(l), Limit100(h)))
	} else {
		s = append(s, noPrediction(r))
	}
	s = append(s, fmt.Sprintf("It rests on %s by %s.", Counted(r.Counts.Analysed, "analysed fish", "analysed fish"), Counted(landing(r.Anglers), "angler", "anglers")))
	if position := expit(positionLogOdds(r)); position != nil {
		s = append(s, fmt.Sprintf("Position alone: were the two patterns alike, the %s would get about %s of 100.", n.Lower, OutOf100(position)))
	}
	if p := about.Protocol; p != nil && p.SmallestShare > 0 {
		s = append(s, fmt.Sprintf("Before it began, the club wrote down that %d of 100 or more, or %d or fewer, would be worth knowing.", p.SmallestShare, 100-p.SmallestShare))
	} else if worth := r.Settings.SmallestShare; worth > .5 && worth < 1 {
		mirrored := 1 - worth
		s = append(s, fmt.Sprintf("Worth knowing would be %s of 100 or more, or %s or fewer.", OutOf100(&worth), OutOf100(&mirrored)))
	}
	if said := stopped(r); said != "" {
		s = append(s, said)
	}
	if m := r.Monitoring; m != nil && m.Rule == trial.Anytime {
		s = append(s, evidence(r)...)
	}
	if spoken := speaker(r.Headline); spoken != "" {
		spoken = "One method speaks for the trial: " + spoken + "."
		if r.Headline.Reason != "" {
			spoken += " " + sentence(r.Headline.Reason)
		}
		s = append(s, spoken)
	}
	return s
}

// nearerBecause says why the share averaged over fish lies nearer to 50 than that of a typical angler without position.
func nearerBecause(m *analysis.MixedModel) string {
	for _, sd := range spreads(m) {
		if sd != nil && *sd > 0 {
			return "it is an average over anglers who differ, and over fish that went by the position"
		}
	}
	return "some fish go by the position, whichever fly is there"
}

func spreads(m *analysis.MixedModel) []*float64 {
	if m == nil {
		return nil
	}
	return []*float64{m.SDPattern, m.SDPosition, m.SDOuting}
}

// speaker names the method that gives the answer; empty where there is none.
func speaker(h analysis.Headline) string {
	if h.Method == "" || !isShare(h.Share) {
		return ""
	}
	return MethodName(h.Method)
}

func intervalSentence(code analysis.VerdictCode, interval, level string, n names, low, high *float64) string {
	s := fmt.Sprintf("These data fit anything from %s of 100 (%s interval). ", interval, level)
	switch {
	case code == analysis.Even:
		return s + "All of it lies so near to 50 that neither fly is taken more by as much as would be worth knowing."
	case *low <= .5 && *high >= .5:
		return s + "That range takes in 50, so they are not enough to tell which fly is taken more; that is no sign that neither is."
	case *low > .5:
		return s + "All of it lies above 50, on the side of " + n.Test + "."
	default:
		return s + "All of it lies below 50, on the side of " + n.Control + "."
	}
}

// landing counts the anglers with at least one analysed fish.
func landing(anglers []analysis.Angler) (k int64) {
	for _, a := range anglers {
		if all(a.TestLower)+all(a.ControlLower) > 0 {
			k++
		}
	}
	return k
}

func levelOf(r analysis.Result) string {
	level := 1 - r.Settings.Alpha
	return Percent(&level)
}

// sentence gives text a capital and a full stop where it lacks them.
func sentence(text string) string {
	text = strings.TrimSpace(text)
	if text == "" {
		return ""
	}
	if first := text[0]; first >= 'a' && first <= 'z' {
		text = string(first-'a'+'A') + text[1:]
	}
	if !strings.ContainsAny(text[len(text)-1:], ".!?") {
		text += "."
	}
	return text
}

// flowRow is one row of the way from anglers to analysed fish: a Total of fish, what goes Off the line and is not analysed,
// or a Part of the row above it.
type flowRow struct {
	What, N          string
	Total, Off, Part bool
}

func flow(r analysis.Result, about About, n names) []flowRow {
	c := r.Counts
	var rows []flowRow
	step := func(what string, k int64) { rows = append(rows, flowRow{What: what, N: Count(k)}) }
	total := func(what string, k int64) { rows = append(rows, flowRow{What: what, N: Count(k), Total: true}) }
	part := func(what string, k int64) { rows = append(rows, flowRow{What: what, N: Count(k), Part: true}) }
	if e := about.Effort; e != nil && e.Enrolled > 0 {
		step("anglers who joined", e.Enrolled+e.ErasedAnglers)
		if e.ErasedAnglers > 0 {
			rows = append(rows, flowRow{What: "whose records were erased, with " + Counted(e.ErasedFish, "fish", "fish"), N: Count(e.ErasedAnglers), Off: true})
		}
		step("outings opened", e.Outings)
		part("of these without a fish", e.BlankOutings)
		if r.Settings.Source == trial.Drawn || e.Blocks > 0 {
			step("rounds opened", e.Blocks)
			if d := about.Draw; d.Units > 0 {
				for _, by := range []struct {
					what string
					n    int64
				}{{"by a coin", d.UnitsByCoin}, {"from sealed slips", d.UnitsByPaper}} {
					if by.n > 0 {
						part("of these "+by.what, by.n)
					}
				}
			}
			step("rounds finished by the rule", e.FinishedBlocks)
		}
	} else {
		step("anglers", c.Anglers)
		if c.Outings > 0 {
			step("outings", c.Outings)
		}
	}
	total("fish recorded", c.Catches)
	for _, reason := range excludedReasons(c.Excluded) {
		rows = append(rows, flowRow{What: ExclusionName(reason), N: Count(c.Excluded[reason]), Off: true})
	}
	total("fish analysed", c.Analysed)
	part("took "+n.Test, c.Test)
	part("took "+n.Control, c.Control)
	return rows
}

// excludedReasons are the reasons that occur, in the order in which they apply, words unknown to it last.
func excludedReasons(excluded map[trial.Exclusion]int64) []trial.Exclusion {
	reasons := make([]trial.Exclusion, 0, len(excluded))
	known := trial.Exclusions()
	for _, reason := range known {
		if excluded[reason] > 0 {
			reasons = append(reasons, reason)
		}
	}
	var others []trial.Exclusion
	for reason, k := range excluded {
		if k > 0 && !slices.Contains(known, reason) {
			others = append(others, reason)
		}
	}
	slices.Sort(others)
	return append(reasons, others...)
}
