package report

import (
	"fmt"
	"strings"

	"evenrig/service/analysis"
)

// shortStrip is the width of a stretch that has words and numbers beside it; odd, as stripWidth is.
const shortStrip = 21

// notices are warnings, each under what it is about.
func (t *textPage) notices(name string, list []notice) {
	var items []string
	for _, w := range list {
		text := w.Text
		if w.About != "" {
			text = w.About + ": " + text
		}
		items = append(items, text)
	}
	t.list(name, items)
}

// stripHead labels the ends and the middle of short stretches.
func (t *textPage) stripHead(what string) {
	t.line("  " + pad(what, 32) + padLeft("fish", 6) + " " + pad("0", shortStrip/2-1) + "50" + padLeft("100", shortStrip-shortStrip/2-1))
}

// answer is one answer on a short stretch with its words.
func (t *textPage) answer(what, fish string, share, low, high *float64) {
	text := "no answer"
	if isShare(share) {
		text = strings.Replace(Share100(share, low, high), " of 100", "", 1)
	}
	t.line("  " + pad(clip(what, 31), 32) + padLeft(fish, 6) + " " + stretchStrip(shortStrip, low, high, share) + " " + text)
}

// overTime lists the weeks with their intervals and the evidence.
func (t *textPage) overTime(r analysis.Result) {
	m := r.Monitoring
	if m == nil || m.Evidence == nil || len(m.Evidence.Path) == 0 {
		return
	}
	t.section("As the trial went")
	drawn := m.Evidence.Draw != nil
	said, head := "At the end of each week an interval for how many of 100 take the test pattern, which may be read at any time", ""
	if drawn {
		said, head = said+", and the evidence against 'no difference for anyone', by the draw alone", "  evidence"
	}
	t.wrap("  ", said+".")
	t.line("")
	t.line("  " + pad("week of", 18) + padLeft("rounds", 7) + padLeft("fish", 6) + "  " + pad("0", shortStrip/2-1) + "50" + padLeft("100", shortStrip-shortStrip/2-1) + head)
	for _, p := range m.Evidence.Path {
		line := "  " + pad(weekName(p.Week), 18) + padLeft(Count(int64(p.Blocks)), 7) + padLeft(Count(p.Fish), 6) + "  " +
			stretchStrip(shortStrip, p.SequenceShareLow, p.SequenceShareHigh, nil)
		if drawn {
			line += "  " + To1(p.EValue)
		}
		t.line(line)
	}
	t.line("")
	for _, s := range evidence(r) {
		t.wrap("  · ", s)
	}
}

// looks lists the planned counts with their boundaries.
func (t *textPage) looks(r analysis.Result) {
	m := r.Monitoring
	if m == nil || len(m.Looks) == 0 {
		return
	}
	t.section("The planned counts")
	t.wrap("  ", "The answer at each count, and the numbers that it must pass to end the trial there.")
	t.line("")
	t.line("  " + pad("count", 10) + padLeft("fish", 6) + padLeft("of 100", 9) + "  " + pad("ends the trial", 30) + "decided")
	for _, look := range m.Looks {
		posts := Missing
		if low, high := boundaryShares(look); low != nil {
			posts = "under " + Limit100(low) + " or over " + Limit100(high)
		}
		t.wrap("  "+pad(fmt.Sprintf("%d of %d", look.N, m.Planned), 10)+padLeft(Count(look.Fish), 6)+padLeft(OutOf100(expit(look.LogOdds)), 9)+"  "+pad(posts, 30), DecisionName(look.Decision))
	}
}

// sensitivity asks again with other fish.
func (t *textPage) sensitivity(r analysis.Result, n names) {
	if len(r.Sensitivity) == 0 {
		return
	}
	t.section("Does it hang on which fish are counted?")
	t.wrap("  ", "Of 100 fish, how many take "+n.Test+", "+ofWhom(r)+"position taken out.")
	t.line("")
	t.stripHead("")
	for _, c := range r.Sensitivity {
		share, low, high := (answerOf{c.LogOdds, c.Low, c.High}).shares()
		t.answer(CaseName(c.Case, c.Of, n), Count(c.Analysed), share, low, high)
	}
	t.line("")
	if len(r.Sensitivity) > 1 {
		t.wrap("  · ", sensitivitySays(r, n))
	}
	for _, s := range []string{unchanged(r, n), tipping(r, n)} {
		if s != "" {
			t.wrap("  · ", s)
		}
	}
}

// lowerShares are the fish that took the lower fly, each way round, by angler.
func (t *textPage) lowerShares(r analysis.Result, n names) {
	if len(r.Anglers) == 0 {
		return
	}
	t.section("Who took the lower fly, each way round")
	f := newLowerFigure(r, n)
	t.line("  " + pad("", 14) + padLeft(clip(n.Test, 22)+" lower", 30) + padLeft(clip(n.Control, 22)+" lower", 30))
	for _, row := range f.Table {
		t.line("  " + pad(clip(row.Name, 13), 14) + padLeft(row.TestLower, 30) + padLeft(row.ControlLower, 30))
	}
	t.line("")
	t.wrap("  · ", f.Counted)
	for _, row := range positionRows(r) {
		what := row.Level
		if row.Column != "" {
			t.line("")
			t.wrap("  ", row.Column+": what the "+n.Lower+" would get of 100, were the patterns alike (p "+row.P+")")
		}
		t.line("    " + pad(clip(what, 30), 32) + padLeft(row.Fish, 6) + "  " + row.Share)
	}
}

// drift is the answer by weeks and by thirds.
func (t *textPage) drift(r analysis.Result) {
	d := r.Drift
	if d == nil || len(d.Weeks)+len(d.Thirds) == 0 {
		return
	}
	t.section("Did it change with the weeks?")
	t.stripHead("")
	for _, w := range d.Weeks {
		share, low, high := (answerOf{w.LogOdds, w.Low, w.High}).shares()
		t.answer("week of "+weekName(w.Label), Count(w.Analysed), share, low, high)
	}
	for _, third := range d.Thirds {
		share, low, high := (answerOf{third.LogOdds, third.Low, third.High}).shares()
		t.answer(PartName(third.Label), Count(third.Analysed), share, low, high)
	}
	t.line("")
	t.wrap("  · ", driftSays(r))
}

// groups are the groups of fish, the caveat first, those named beforehand before those looked through.
func (t *textPage) groups(r analysis.Result) {
	if len(r.Subgroups) == 0 {
		return
	}
	t.section("Groups of fish")
	t.wrap("  ", groupCaveat(r))
	for _, named := range []bool{true, false} {
		tests := groupTests(r, named)
		if len(tests) == 0 {
			continue
		}
		t.line("")
		if named {
			t.stripHead("named beforehand")
		} else {
			t.stripHead("looked through afterwards")
		}
		i := 0
		for _, g := range r.Subgroups {
			if g.Named != named {
				continue
			}
			t.wrap("  "+tests[i].What+": ", tests[i].Text)
			i++
			for _, l := range g.Levels {
				share, low, high := (answerOf{l.LogOdds, l.Low, l.High}).shares()
				t.answer("· "+levelName(l.Level), Count(l.Catches), share, low, high)
			}
		}
	}
}

// harms are the landed fish by what they took and what was seen of harm to them.
func (t *textPage) harms(r analysis.Result, n names) {
	rows := harmRows(r, n)
	if len(rows) == 0 {
		return
	}
	t.section("Harm to fish")
	columns := func(what, landed, dead, bleeding, deep, foul string) {
		t.line("  " + pad(clip(what, 30), 32) + padLeft(landed, 8) + padLeft(dead, 6) + padLeft(bleeding, 10) + padLeft(deep, 6) + padLeft(foul, 6))
	}
	columns("landed fish that took", "landed", "dead", "bleeding", "deep", "foul")
	for _, row := range rows {
		columns(row.What, row.Landed, row.Dead, row.Bleeding, row.DeepHooked, row.FoulHooked)
	}
	t.line("")
	if !r.Harms.Noted {
		t.wrap("  · ", "Whether fish were dead, bleeding or deep hooked was not asked.")
	}
	t.wrap("  · ", "Counts, too few to compare by. Deep hooked: cut the line.")
}

// doubts are who could still have cheated and what would show it, with what the record says.
func (t *textPage) doubts(r analysis.Result, about About, n names) {
	t.section("Who could still have cheated?")
	for _, d := range doubts(r, about, n) {
		t.wrap("  · ", d.Who+": "+d.How+". What would show it: "+d.Shows+".")
		if d.Record != "" {
			t.wrap("    The record: ", d.Record)
		}
	}
}
