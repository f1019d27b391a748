package analysis

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"evenrig/service/trial"
)

// verdict reads the headline, and nothing else, against one half and the smallest share worth knowing.
func verdict(r Result, in Input, k int) Verdict {
	v := Verdict{Code: verdictOf(r.Headline.ShareLow, r.Headline.ShareHigh, in.SmallestShare), Limits: limits(r, in, k)}
	if v.Code == NotSettled {
		v.More = moreFish(r, in, k)
	}
	v.Sentence = sentence(r, in, k, v)
	return v
}

// verdictOf reads an interval of shares, nil where there is none, against one half and the band from 1-s to s.
func verdictOf(low, high *float64, s float64) VerdictCode {
	switch {
	case low == nil || high == nil:
	case *low > .5:
		return TestTakesMore
	case *high < .5:
		return ControlTakesMore
	case *low >= 1-s && *high <= s:
		return Even
	}
	return NotSettled
}

// sentence says the headline as a number of fish out of 100 with its interval, and what that settles.
func sentence(r Result, in Input, k int, v Verdict) string {
	h, code := r.Headline, v.Code
	if h.Share == nil {
		switch {
		case r.Counts.Analysed == 0:
			return "No fish could be analysed, so these data say nothing about the two patterns."
		case r.oneSided():
			return "These data cannot tell the patterns from their positions on the line; not enough to tell."
		}
		return "No method that allows for how these fish were caught gives an answer; not enough to tell."
	}
	estimate, low, high := *h.Share, *h.ShareLow, *h.ShareHigh
	if h.AverageShare != nil {
		estimate, low, high = *h.AverageShare, *h.AverageLow, *h.AverageHigh
	}
	interval := fmt.Sprintf("%s %% interval %s to %s", strconv.FormatFloat(math.Round(1000*(1-in.Alpha))/10, 'f', -1, 64), Limit100(low), Limit100(high))
	var b strings.Builder
	most, prevails := r.Prevailing()
	switch {
	case prevails:
		taken := "with the position effect taken out"
		if h.AverageShare != nil {
			taken = "each pattern as the " + in.LowerWord + " fly half the time"
		}
		part := float64(most.analysed()) / float64(r.Counts.Analysed)
		fmt.Fprintf(&b, "Of 100 fish of these species caught as these were, %s of 100 by one angler, %s, %s (%s) would take %s, the test pattern.",
			OutOf100(part), taken, about(estimate), interval, in.testOnce())
	case h.AverageShare != nil:
		fmt.Fprintf(&b, "Of 100 fish of these species caught by anglers like ours, each pattern as the %s fly half the time, %s (%s) would take %s, the test pattern.",
			in.LowerWord, about(estimate), interval, in.testOnce())
	case k == 1:
		fmt.Fprintf(&b, "Of 100 fish of these species caught by this angler, with the position effect taken out, %s (%s) would take %s, the test pattern.",
			about(estimate), interval, in.testOnce())
	default:
		fmt.Fprintf(&b, "Of 100 fish of these species caught by a typical angler of this trial, with the position effect taken out, %s (%s) would take %s, the test pattern.",
			about(estimate), interval, in.testOnce())
	}
	b.WriteByte(' ')
	band := fmt.Sprintf("%s to %s", OutOf100(1-in.SmallestShare), OutOf100(in.SmallestShare))
	switch code {
	case TestTakesMore:
		fmt.Fprintf(&b, "The data favour %s.", in.test())
		if *h.ShareHigh <= in.SmallestShare {
			fmt.Fprintf(&b, " The whole interval stays within %s, short of the share that was worth knowing.", band)
		}
	case ControlTakesMore:
		fmt.Fprintf(&b, "The data favour %s, the control pattern.", in.controlOnce())
		if *h.ShareLow >= 1-in.SmallestShare {
			fmt.Fprintf(&b, " The whole interval stays within %s, short of the share that was worth knowing.", band)
		}
	case Even:
		fmt.Fprintf(&b, "The whole interval lies within %s: for the purpose of this trial the two patterns are even.", band)
	default:
		fmt.Fprintf(&b, "These data fit anything from %s to %s; not enough to tell.", Limit100(low), Limit100(high))
		b.WriteString(v.More.words(in, k))
	}
	switch {
	case code == NotSettled:
	case prevails:
		b.WriteString(" That is mostly one angler's answer; how others would fare is hardly seen.")
	case r.anglersDisagree(k):
		b.WriteString(" But these anglers do not agree with one another, so that one number does not fit them all.")
	}
	return b.String()
}

// oneSided reports whether the analysed fish are of one arrangement, or all took the fly at one position.
func (r Result) oneSided() bool {
	c := r.Counts
	return c.TestLower.Lower+c.TestLower.Upper == 0 || c.ControlLower.Lower+c.ControlLower.Upper == 0 ||
		c.TestLower.Lower+c.ControlLower.Lower == 0 || c.TestLower.Upper+c.ControlLower.Upper == 0
}

// limits says what the result does not show.
func limits(r Result, in Input, k int) []string {
	list := []string{
		"We compared choice when both flies are in the water. We did not measure how many more fish you would catch with one of them alone.",
		"Not shown: other waters, seasons, tyers, sizes and depths. That the changed feature is the cause holds only if it is the sole difference between the two flies.",
	}
	switch {
	case k == 1:
		list = append(list, "One angler's answer: it does not say how other anglers would fare.")
	case k > 1 && k <= fewAnglers:
		list = append(list, "With so few anglers the exact method tests \"no effect for any angler\" and speaks of these anglers, not of anglers at large.")
	case r.Headline.Method == ExactStratified && k > 0:
		list = append(list, "The exact method speaks because the others could not: it tests \"no effect for any angler\", takes the effect as the same for all, and does not widen its interval for anglers who differ.")
	}
	if most, prevails := r.Prevailing(); prevails {
		list = append(list, fmt.Sprintf("One angler caught %d of the %d analysed fish, and no spread between anglers could be seen: the interval is as narrow as if all were alike.", most.analysed(), r.Counts.Analysed))
	}
	if r.Headline.Method != MixedModelProfile && r.Headline.Share != nil {
		list = append(list, independence(r))
	}
	if in.Source == trial.Recorded {
		list = append(list, "No draw here: the records were brought in as a table, and how the order of the two arrangements was chosen is not known.")
	} else {
		list = append(list, "Anglers see what they catch, and word of mouth cannot be prevented: what they heard or believed may have swayed how they fished.")
	}
	return list
}

// independence says what a method without outings takes for granted.
func independence(r Result) string {
	if r.Design == trial.PairedByOuting {
		return "Every outing had one arrangement, and this method takes the fish of an outing as independent of one another: where days differ its interval is too narrow."
	}
	return "This method takes the fish that it compares as independent of one another: where fish of a day follow one another to the same fly its interval is too narrow."
}

// OutOf100 says a share, 0 to 1, as a whole number of fish out of 100; what is not quite none or all is not rounded to it.
func OutOf100(share float64) string {
	switch {
	case share > 0 && share < .005:
		return "under 1"
	case share < 1 && share >= .995:
		return "over 99"
	}
	return strconv.Itoa(int(math.Round(100 * share)))
}

// about is OutOf100 as an estimate is said: "about 69", but "over 99".
func about(share float64) string {
	s := OutOf100(share)
	if strings.Contains(s, " ") {
		return s
	}
	return "about " + s
}

// Limit100 is OutOf100 for an end of an interval: one that rounds to 50 without being 50 keeps a decimal, so that a reader
// sees on which side of the halfway line it falls.
func Limit100(share float64) string {
	x := 100 * share
	if x == 50 || math.Round(x) != 50 {
		return OutOf100(share)
	}
	switch rounded := math.Round(10*x) / 10; {
	case rounded != 50:
		return strconv.FormatFloat(rounded, 'f', 1, 64)
	case x < 50:
		return "just under 50"
	}
	return "just over 50"
}

// listed says "a, b and c"; beyond ten the rest is counted.
func listed(words []string) string {
	if len(words) > 10 {
		return strings.Join(words[:10], ", ") + fmt.Sprintf(" and %d more", len(words)-10)
	}
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}
