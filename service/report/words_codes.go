package report

import (
	"strings"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// ExclusionName says in plain words why a fish is counted but not analysed.
func ExclusionName(reason trial.Exclusion) string {
	if s, ok := exclusionNames[reason]; ok {
		return s
	}
	return spaced(string(reason))
}

var exclusionNames = map[trial.Exclusion]string{
	trial.Analysed:       "analysed",
	trial.Void:           "struck out as entered by mistake",
	trial.Disputed:       "disputed, and left out by two who did not see the fly",
	trial.AfterLock:      "came in after the trial was locked",
	trial.SameFlyCheck:   "from a check round with the same fly twice",
	trial.ExcludeLost:    "came off before the net",
	trial.ExcludeTouched: "touched the fly, never hooked",
	trial.FoulHooked:     "foul hooked",
	trial.WrongSpecies:   "of another species",
	trial.TooShort:       "under the length limit",
	trial.NotConfirmed:   "which way round was not confirmed",
	trial.RigNotIntact:   "rig not intact: a fly missing or fouled",
	trial.WhileSwapping:  "caught while swapping",
	trial.Double:         "two fish at once",
	trial.OtherFly:       "took a third fly",
	trial.NotSure:        "not sure which fly it took",
}

// MethodName says which method a headline comes from.
func MethodName(method analysis.Method) string {
	switch method {
	case analysis.ExactStratified:
		return "the exact count, stratum by stratum"
	case analysis.MixedModelProfile:
		return "the model of all fish with every angler's own leaning"
	case "":
		return Missing
	default:
		return spaced(string(method))
	}
}

// VaryName says what the mixed model lets differ between anglers, and between outings.
func VaryName(vary analysis.Vary) string {
	switch vary {
	case analysis.VaryPattern:
		return "anglers may differ in the pattern effect"
	case analysis.VaryPatternPosition:
		return "anglers may differ in the pattern effect and in the position effect"
	case analysis.VaryPatternPositionOuting:
		return "anglers may differ in the pattern effect and in the position effect, and days may differ too"
	case "":
		return Missing
	default:
		return spaced(string(vary))
	}
}

// EstimatorName says by which estimate of the spread between anglers a combination was made.
func EstimatorName(estimator analysis.Estimator) string {
	switch estimator {
	case analysis.CommonEffect:
		return "one effect for all"
	case analysis.DL:
		return "by moments"
	case analysis.PM:
		return "Paule and Mandel"
	case analysis.REML:
		return "restricted likelihood"
	case analysis.ML:
		return "likelihood"
	default:
		return spaced(string(estimator))
	}
}

// AdjustmentName says how the width of a combined interval was set.
func AdjustmentName(adjustment analysis.Adjustment) string {
	switch adjustment {
	case analysis.Unadjusted:
		return "normal"
	case analysis.HK:
		return "by the scatter seen"
	case analysis.ModifiedHK:
		return "by the scatter seen, never narrower"
	default:
		return spaced(string(adjustment))
	}
}

// VerdictName says in a few words what a verdict is.
func VerdictName(code analysis.VerdictCode, n names) string {
	switch code {
	case analysis.TestTakesMore:
		return n.Test + " is taken more"
	case analysis.ControlTakesMore:
		return n.Control + " is taken more"
	case analysis.Even:
		return "even, for the purpose of this trial"
	case analysis.NotSettled:
		return "not enough to tell"
	case "":
		return Missing
	default:
		return spaced(string(code))
	}
}

// DesignName says how the trial compares its flies.
func DesignName(design trial.Design) string {
	switch design {
	case trial.Paired:
		return "two flies on one line, swapped within the outing"
	case trial.PairedByOuting:
		return "two flies on one line, one way round for a whole outing"
	case "":
		return Missing
	default:
		return spaced(string(design))
	}
}

func spaced(code string) string { return strings.ReplaceAll(code, "_", " ") }
