package report

import (
	"fmt"
	"strings"

	"evenrig/service/analysis"
)

// sensitivityFigure puts the same question to other choices of fish, one row each, then without one angler at a time.
func sensitivityFigure(r analysis.Result, n names) *rowsFigure {
	if len(r.Sensitivity) < 2 {
		return nil
	}
	f := newRows("sensitivity", "The main answer on other choices of fish", r, n)
	var without []analysis.SensitivityCase
	for _, c := range r.Sensitivity {
		switch c.Case {
		case analysis.CaseMain:
		case analysis.CaseWithoutAngler:
			without = append(without, c)
		default:
			f.over(CaseName(c.Case, c.Of, n), c.Analysed, answerOf{c.LogOdds, c.Low, c.High}, sentence(c.Reason))
		}
	}
	if len(without) > 0 {
		f.head("without one angler at a time", true)
		anglers := make([]analysis.Angler, len(without))
		for i, c := range without {
			anglers[i].Angler = c.Of
		}
		labels := anglerLabels(anglers, 20, 9)
		for i, c := range without {
			f.beside(CaseName(c.Case, c.Of, n), labels[i], c.Analysed, answerOf{c.LogOdds, c.Low, c.High}, sentence(c.Reason))
		}
	}
	return f.close(sensitivitySays(r, n))
}

// sensitivitySays is what the rows say together.
func sensitivitySays(r analysis.Result, n names) string {
	var answered int64
	var across, none []string
	var shares []*float64
	for _, c := range r.Sensitivity[1:] {
		share, low, high := answerOf{c.LogOdds, c.Low, c.High}.shares()
		switch {
		case share == nil:
			none = append(none, CaseName(c.Case, c.Of, n))
			continue
		case *low <= .5 && *high >= .5:
			across = append(across, CaseName(c.Case, c.Of, n))
		}
		answered++
		shares = append(shares, share)
	}
	if answered == 0 {
		return "None of the other choices of fish gives an answer."
	}
	least, most := spanOf(shares)
	s := fmt.Sprintf("%s, with answers from %s to %s of 100.", Counted(answered, "other choice of fish", "other choices of fish"), OutOf100(least), OutOf100(most))
	switch {
	case len(across) == 0:
		s += " No interval among them takes in 50."
	case int64(len(across)) == answered:
		s += " Every interval among them takes in 50."
	default:
		s += fmt.Sprintf(" The interval takes in 50 in %d of them: %s.", len(across), listed(across))
	}
	if len(none) > 0 {
		s += " No answer: " + listed(none) + "."
	}
	if lookedAt(r) {
		s += " The main answer allows for having been looked at before; these, by which nothing is decided, do not."
	}
	return s
}

func spanOf(shares []*float64) (least, most *float64) {
	for _, s := range shares {
		if least == nil || *s < *least {
			least = s
		}
		if most == nil || *s > *most {
			most = s
		}
	}
	return least, most
}

// unchanged lists the choices of fish that would change nothing; empty where there are none.
func unchanged(r analysis.Result, n names) string {
	if len(r.Unchanged) == 0 {
		return ""
	}
	cases := make([]string, len(r.Unchanged))
	for i, c := range r.Unchanged {
		cases[i] = CaseName(c, "", n)
	}
	return "These choices would take the same fish and so change nothing: " + listed(cases) + "."
}

// tipping says how different the not-sure fish would have to be for the verdict to change; empty where that is not asked.
func tipping(r analysis.Result, n names) string {
	t := r.TippingPoint
	if t == nil || len(t.Points) == 0 {
		return ""
	}
	first, last := t.Points[0], t.Points[len(t.Points)-1]
	not := Counted(t.NotSure, "fish is", "fish are") + " left out because nobody was sure which fly it took."
	if t.NotSure > 1 {
		not = Counted(t.NotSure, "fish is", "fish are") + " left out because nobody was sure which fly they took."
	}
	if t.Delta == nil {
		return fmt.Sprintf("%s Had they leaned otherwise than the rest, anywhere from %s to %s of 100 of them on %s, the verdict would stand.",
			not, OutOf100(&first.Test), OutOf100(&last.Test), n.Test)
	}
	return fmt.Sprintf("%s The verdict hangs on them: if %s, it would be “%s”.", not, tippedAt(t, n), VerdictName(t.Verdict, n))
}

// tippedAt says between which two of the points the verdict changes.
func tippedAt(t *analysis.TippingPoint, n names) string {
	for i, p := range t.Points {
		switch {
		case *t.Delta > 0 && p.Delta >= *t.Delta && i > 0:
			return fmt.Sprintf("somewhat more than %s of 100 of them had taken %s", OutOf100(&t.Points[i-1].Test), n.Test)
		case *t.Delta < 0 && p.Delta > *t.Delta:
			return fmt.Sprintf("somewhat fewer than %s of 100 of them had taken %s", OutOf100(&p.Test), n.Test)
		}
	}
	return "they leaned otherwise than the rest"
}

// listed says "a, b and c".
func listed(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}
