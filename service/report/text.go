package report

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"
	"unicode/utf8"

	"evenrig/service/analysis"
)

const (
	textWidth  = 78 // columns of a terminal page
	stripWidth = 41 // columns of the stretch from 0 to 100 of 100 fish; odd, so that 50 has a column of its own
	rigWidth   = 36 // columns of one drawing of the rig
)

// Text writes the result as a page for a terminal, in UTF-8 and at most 78 columns wide unless a name is longer, in the order of
// HTML: the answer, how sure it is, what it does not show, every angler on one stretch, the trial as it went, other choices of
// fish, both ways round, weeks, groups, the way to the analysed fish, the checks, harm to fish, who could still have cheated, the methods beside each other, and the usual
// cautions. Errors come from w only.
func Text(w io.Writer, r analysis.Result, about About) error {
	n := about.names(r.Test, r.Control, r.Settings.LowerWord, r.Settings.UpperWord)
	var t textPage
	t.wrap("", heading(about, n))
	t.wrap("", deck(r, n))
	t.section("The answer")
	t.wrap("  ", r.Verdict.Sentence)
	t.line("")
	for _, s := range sure(r, about, n) {
		t.wrap("  · ", s)
	}
	t.list("What this does not show", r.Verdict.Limits)
	before, cannot := notices(r)
	t.notices("Before you read a number", before)
	t.notices("What these records cannot show", cannot)
	t.section("The rig, both ways round")
	t.rigs(r, n)
	t.section("Where each angler's fish put it")
	t.anglers(r, n)
	t.overTime(r)
	t.looks(r)
	t.sensitivity(r, n)
	t.lowerShares(r, n)
	t.drift(r)
	t.groups(r)
	t.section("From the fish recorded to the fish analysed")
	for _, row := range flow(r, about, n) {
		indent := "  "
		if row.Off {
			indent = "    less: "
		}
		t.line(indent + pad(row.What, textWidth-12-utf8.RuneCountInString(indent)) + padLeft(row.N, 10))
	}
	var planned []string
	for _, f := range compliance(r, about) {
		planned = append(planned, f.What+": "+f.Value)
	}
	t.list("Was it fished as planned?", planned)
	t.list("Order and draw, checked", orderChecks(r, n))
	t.harms(r, n)
	t.doubts(r, about, n)
	t.section("The same question by other ways of counting")
	t.methods(r)
	var cautions []string
	for _, c := range about.cautions() {
		cautions = append(cautions, c.Topic+": "+c.Text)
	}
	t.list("On the water", cautions)
	t.section("To check it")
	t.line("  Fingerprint of the counts:")
	t.line("  " + r.Fingerprint)
	t.wrap("  ", "Intervals: "+levelOf(r)+". "+fitted(r.MixedModel)+"Worked out by evenrig "+r.ProgramVersion+".")
	_, err := t.b.WriteTo(w)
	return err
}

// textPage gathers the lines of a page.
type textPage struct{ b bytes.Buffer }

func (t *textPage) line(text string) {
	t.b.WriteString(strings.TrimRight(text, " ") + "\n")
}

// section starts a part: its name hangs from a line as a fly does from the leader.
func (t *textPage) section(name string) {
	t.line("")
	t.line("──┬" + strings.Repeat("─", textWidth-3))
	t.line("  ╰ " + name)
	t.line("")
}

func (t *textPage) list(name string, items []string) {
	if len(items) == 0 {
		return
	}
	t.section(name)
	for _, item := range items {
		t.wrap("  · ", item)
	}
}

// wrap writes text in lines of at most textWidth columns, the first after lead, the others as far in.
func (t *textPage) wrap(lead, text string) {
	indent := strings.Repeat(" ", utf8.RuneCountInString(lead))
	line, used := lead, 0
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == '\n' }) {
		if used > 0 && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > textWidth {
			t.line(line)
			line, used = indent, 0
		}
		if used > 0 {
			line += " "
		}
		line += word
		used++
	}
	t.line(line)
}

// rigs draws the line with its two flies in both arrangements, each fly with its pattern, its position and its fish.
func (t *textPage) rigs(r analysis.Result, n names) {
	left := rig(r.Test, r.Control, r.Counts.TestLower, n)
	right := rig(r.Control, r.Test, r.Counts.ControlLower, n)
	for i := range left {
		t.line("  " + pad(left[i], rigWidth) + "    " + right[i])
	}
	t.line("")
	for _, row := range countRows(r.Counts, n) {
		if row.Took != Missing {
			t.wrap("  · ", fmt.Sprintf("%s: of %s fish, %s took %s.", row.What, row.All, row.Took, n.Test))
		}
	}
}

func rig(lower, upper string, fish analysis.ByPosition, n names) []string {
	const upperAt, lowerAt = 9, 26
	two := func(a, b string) string {
		a, b = clip(a, 14), clip(b, 14)
		line := strings.Repeat(" ", max(0, upperAt-utf8.RuneCountInString(a)/2)) + a
		return pad(line, max(lowerAt-utf8.RuneCountInString(b)/2, utf8.RuneCountInString(line)+1)) + b
	}
	return []string{
		strings.Repeat("─", upperAt) + "┬" + strings.Repeat("─", lowerAt-upperAt-1) + "╮",
		two("│", "│"),
		two(upper, lower),
		two(n.Upper, n.Lower),
		two(Counted(fish.Upper, "fish", "fish"), Counted(fish.Lower, "fish", "fish")),
	}
}

// anglers draws a stretch from 0 to 100 for every angler and for all together.
func (t *textPage) anglers(r analysis.Result, n names) {
	t.wrap("  ", "Of 100 fish, how many take "+n.Test+", position taken out.")
	for _, key := range []string{
		"o  the angler's own fish (½: added to each count, where one was zero)", "+  after all anglers have been heard", "@  both at one place",
		"●  together: for a typical angler, with the interval",
	} {
		t.line("    " + key)
	}
	t.line("")
	scale := pad("0", 10) + pad("25", 10) + pad("50", 10) + pad("75", 9) + "100"
	t.line("  " + pad("", 12) + padLeft("fish", 6) + "  " + pad(scale, stripWidth+2) + "  own  after")
	for _, a := range r.Anglers {
		own, after := expit(a.LogOdds), expit(a.ShrunkLogOdds)
		strip := emptyStrip(stripWidth)
		mark(strip, own, 'o')
		mark(strip, after, '+')
		note := ""
		if a.HalfAdded {
			note = " ½"
		}
		t.line("  " + pad(clip(a.Angler, 11), 12) + padLeft(Count(all(a.TestLower)+all(a.ControlLower)), 6) + "  " + string(strip) +
			"  " + padLeft(OutOf100(own)+note, 6) + padLeft(OutOf100(after), 7))
	}
	h := r.Headline
	t.line("  " + pad("together", 12) + padLeft(Count(r.Counts.Analysed), 6) + "  " + stretchStrip(stripWidth, h.ShareLow, h.ShareHigh, h.Share) + "  " +
		strings.Replace(Share100(h.Share, h.ShareLow, h.ShareHigh), " of 100", "", 1))
	if low, high := r.Prediction(); low != nil {
		t.line("  " + pad("another", 12) + pad("", 6) + "  " + stretchStrip(stripWidth, low, high, nil) + "  " + Interval100(low, high))
	}
}

func emptyStrip(width int) []rune {
	strip := []rune(strings.Repeat("·", width))
	strip[width/2] = '|'
	return strip
}

// column is the place of a share on a strip.
func column(strip []rune, share float64) int { return int(math.Round(share * float64(len(strip)-1))) }

func mark(strip []rune, share *float64, sign rune) {
	if !isShare(share) {
		return
	}
	at := column(strip, *share)
	if strip[at] == 'o' {
		sign = '@'
	}
	strip[at] = sign
}

// stretchStrip draws an interval as a length of line, the estimate as a knot in it.
func stretchStrip(width int, low, high, estimate *float64) string {
	strip := emptyStrip(width)
	if isShare(low) && isShare(high) {
		for i := column(strip, *low); i <= column(strip, *high); i++ {
			strip[i] = '─'
		}
	}
	if isShare(estimate) {
		strip[column(strip, *estimate)] = '●'
	}
	return string(strip)
}

// methods puts every method's answer beside the others; the one that speaks is marked.
func (t *textPage) methods(r analysis.Result) {
	for _, row := range methodRows(r) {
		sign := "   "
		if row.Speaks {
			sign = " ● "
		}
		p := ""
		if row.P != Missing {
			p = "p " + row.P
		}
		t.line(sign + pad(row.What, 38) + pad(row.Share, 22) + p)
	}
	t.line("")
	if speaker(r.Headline) == "" {
		t.line("  None of them speaks for the result.")
		return
	}
	t.line("  ● speaks for the result; the others stand beside it and never decide.")
}

// fitted says in what form the model of all fish was fitted; empty when it was not.
func fitted(m *analysis.MixedModel) string {
	if m == nil || m.Status != analysis.Converged {
		return ""
	}
	return fmt.Sprintf("In the model of all fish %s (%s). ", VaryName(m.Vary), integration(m.Points))
}

func pad(text string, columns int) string {
	return text + strings.Repeat(" ", max(0, columns-utf8.RuneCountInString(text)))
}

func padLeft(text string, columns int) string {
	return strings.Repeat(" ", max(0, columns-utf8.RuneCountInString(text))) + text
}
