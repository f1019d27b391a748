package report

import (
	"fmt"
	"math"
	"strconv"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// DecisionName says what a planned count decided.
func DecisionName(d trial.Decision) string {
	switch d {
	case trial.GoOn:
		return "fish on"
	case trial.Stop:
		return "stop, settled"
	case trial.StopFutile:
		return "advice to stop: a share worth knowing is unlikely to be found"
	case trial.NoDecision:
		return "could not be judged"
	case trial.Ended:
		return "the planned counts have ended"
	case "":
		return Missing
	default:
		return spaced(string(d))
	}
}

// StoppingName says when a trial's result may be counted.
func StoppingName(s trial.Stopping) string {
	switch s {
	case trial.FixedSize:
		return "counted once, when it was over"
	case trial.GroupSequential:
		return "counted at planned counts, each with its own boundary"
	case trial.Anytime:
		return "counted at any time, by evidence that allows for it"
	case "":
		return Missing
	default:
		return spaced(string(s))
	}
}

// To1 says evidence as odds: "176 to 1". It is rounded down, so that it is never said to reach a mark that it has not reached;
// nil, or what is no evidence, is Missing.
func To1(e *float64) string {
	if e == nil || math.IsNaN(*e) || math.IsInf(*e, 0) || *e < 0 {
		return Missing
	}
	switch {
	case *e < .01:
		return "under 0.01 to 1"
	case *e >= 1e6:
		return "over " + Count(1_000_000) + " to 1"
	case *e >= 10:
		return Count(int64(*e)) + " to 1"
	case *e >= 1:
		return strconv.FormatFloat(math.Floor(*e*10)/10, 'f', -1, 64) + " to 1"
	default:
		return strconv.FormatFloat(math.Floor(*e*100)/100, 'f', -1, 64) + " to 1"
	}
}

// evidence is the evidence in words with its mark, the interval that may be read at any time, and their limit; nil where the
// blocks give neither.
func evidence(r analysis.Result) (s []string) {
	m := r.Monitoring
	if m == nil || m.Evidence == nil {
		return nil
	}
	if e := m.Evidence; To1(e.Draw) != Missing {
		reached := "That is none: the mark to be reached is %s."
		switch {
		case *e.Draw >= e.Threshold:
			reached = "The mark to be reached is %s, and it is reached."
		case *e.Draw > 1:
			reached = "The mark to be reached is %s; it is not reached."
		}
		s = append(s, fmt.Sprintf("By the draw alone: evidence %s against 'no difference for anyone', valid whenever we looked. "+reached, To1(e.Draw), To1(&e.Threshold)))
	}
	if interval := Interval100(m.SequenceShareLow, m.SequenceShareHigh); interval != Missing {
		s = append(s, fmt.Sprintf("An interval that may be read after any round, however often: %s of 100. It allows for all those readings, which makes it wide.", interval))
	}
	if len(s) > 0 {
		s = append(s, evidenceLimit)
	}
	return s
}

// evidenceLimit stands wherever evidence or its sequence of intervals is printed.
const evidenceLimit = "Their limit: the evidence tests \"no effect for any angler\", not the mean over anglers, and the interval is for a share common to all."

// stopped says what an early end does to an answer, and that the numbers allow for it; empty where no planned count was made.
func stopped(r analysis.Result) string {
	m := r.Monitoring
	switch {
	case m == nil:
		return ""
	case m.Adjusted != nil && m.Decision == trial.Stop:
		return "The trial ended at a planned count. A trial that stops early tends to stop on a lucky run, so that plain numbers overstate; the adjusted numbers given here allow for that."
	case m.Adjusted != nil:
		return "The planned counts have ended. Counting more than once makes plain numbers overstate a little; the adjusted numbers given here allow for that."
	case m.Rule == trial.GroupSequential && len(m.Looks) > 0:
		return fmt.Sprintf("This is planned count %d of %d. The interval given holds at every planned count together, so that it is wider than one that is read once.", m.Looks[len(m.Looks)-1].N, m.Planned)
	default:
		return ""
	}
}

// lookedAt reports whether the headline allows for having been looked at before.
func lookedAt(r analysis.Result) bool {
	m := r.Monitoring
	return m != nil && (m.Rule == trial.Anytime || len(m.Looks) > 0)
}
