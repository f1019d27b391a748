package report

import (
	"math"
	"strconv"
	"strings"

	"evenrig/service/analysis"
)

// Missing stands wherever a value cannot be estimated; a table that may contain it explains it below.
const Missing = "–"

// OutOf100 returns a share (0 to 1) as a whole number out of 100, see analysis.OutOf100. Nil, or a value that is no share, is
// Missing.
func OutOf100(share *float64) string {
	if !isShare(share) {
		return Missing
	}
	return analysis.OutOf100(*share)
}

// Limit100 is OutOf100 for an end of an interval, see analysis.Limit100.
func Limit100(share *float64) string {
	if !isShare(share) {
		return Missing
	}
	return analysis.Limit100(*share)
}

// Interval100 returns "59 to 77" for two shares, Missing when either is missing.
func Interval100(low, high *float64) string {
	if !isShare(low) || !isShare(high) {
		return Missing
	}
	return Limit100(low) + " to " + Limit100(high)
}

// Share100 returns "69 of 100 (59 to 77)", without the bracket when there is no interval, Missing without an estimate.
func Share100(estimate, low, high *float64) string {
	if !isShare(estimate) {
		return Missing
	}
	s := OutOf100(estimate) + " of 100"
	if isShare(low) && isShare(high) {
		s += " (" + Interval100(low, high) + ")"
	}
	return s
}

// Number returns x with a fixed number of decimals and a true minus sign; nil, NaN and infinities are Missing.
func Number(x *float64, decimals int) string {
	if x == nil || math.IsNaN(*x) || math.IsInf(*x, 0) {
		return Missing
	}
	s := strconv.FormatFloat(*x, 'f', decimals, 64)
	if digits, negative := strings.CutPrefix(s, "-"); negative {
		if strings.Trim(digits, "0.") == "" {
			return digits
		}
		return "\u2212" + digits
	}
	return s
}

// NumberInterval returns "0.41 to 1.36". An end that is missing because it is infinite (the share that
// goes with it is 0 or 1) is said as "no lower bound" or "no upper bound"; other missing ends make the whole Missing.
func NumberInterval(low, high, shareLow, shareHigh *float64, decimals int) string {
	l, h := Number(low, decimals), Number(high, decimals)
	if l == Missing && isShare(shareLow) && *shareLow == 0 {
		l = "no lower bound"
	}
	if h == Missing && isShare(shareHigh) && *shareHigh == 1 {
		h = "no upper bound"
	}
	if l == Missing || h == Missing {
		return Missing
	}
	return l + " to " + h
}

// PValue returns a p value to three decimals, four below 0.01, and "below 0.0001" under that. Nothing is ever rounded
// to 0, and no mark of rank is added.
func PValue(p *float64) string {
	switch {
	case p == nil || math.IsNaN(*p) || *p < 0 || *p > 1:
		return Missing
	case *p < .0001:
		return "below 0.0001"
	case *p < .01:
		return strconv.FormatFloat(*p, 'f', 4, 64)
	default:
		return strconv.FormatFloat(*p, 'f', 3, 64)
	}
}

// saidP is a p value with its letter, kept together.
func saidP(p *float64) string { return "p\u00a0" + PValue(p) }

// Count returns n with a thin space between thousands: 12 345.
func Count(n int64) string {
	s := strconv.FormatInt(n, 10)
	sign := ""
	if n < 0 {
		sign, s = "\u2212", s[1:]
	}
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "\u202f" + s[i:]
	}
	return sign + s
}

// Counted returns "1 fish", "3 anglers": the count with the form of the noun that fits.
func Counted(n int64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return Count(n) + " " + many
}

// Percent returns the level of an interval or a fraction (0 to 1) as "95 %"; decimals only where they are needed.
func Percent(fraction *float64) string {
	if fraction == nil || math.IsNaN(*fraction) || math.IsInf(*fraction, 0) {
		return Missing
	}
	return strconv.FormatFloat(math.Round(*fraction*1000)/10, 'f', -1, 64) + "\u00a0%"
}

func isShare(x *float64) bool { return x != nil && *x >= 0 && *x <= 1 }
