package analysis

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenrig/stats/exact"
	"evenrig/stats/glmm"
)

// The codes of warnings. They are stable; the detail beside them is for people.
const (
	WarnNoCatches      = "no_catches"         // no analysed fish at all
	WarnOneArrangement = "one_arrangement"    // analysed fish in one arrangement only
	WarnOnePosition    = "one_position"       // every analysed fish took the lower fly, or every one the upper
	WarnOneAngler      = "one_angler"         // one angler's answer
	WarnFewAnglers     = "few_anglers"        // 2 to 4 anglers with an analysed fish
	WarnPrevailing     = "prevailing_angler"  // one angler has more analysed fish than all others together
	WarnAnglersDiffer  = "anglers_differ"     // the exact method speaks, and one effect does not fit all anglers
	WarnOneStratum     = "one_stratum"        // one angler without blocks or outings that have both arrangements
	WarnNoInformation  = "no_information"     // no stratum has both arrangements and both positions
	WarnZeroCell       = "zero_cell"          // a cell of the pooled table is zero
	WarnUnbounded      = "unbounded"          // an estimate or limit is infinite
	WarnNoHomogeneity  = "no_homogeneity"     // whether strata agree cannot be tested
	WarnHalfAdded      = "half_added"         // ½ added to an angler's four cells
	WarnLeftOut        = "left_out"           // anglers left out of the combination
	WarnNotCombined    = "not_combined"       // fewer than two anglers' own answers
	WarnSingular       = "singular"           // a standard deviation estimated as 0
	WarnSeparation     = "separation"         // the mixed model has no finite estimate
	WarnNoMaximum      = "no_maximum"         // a standard deviation of the mixed model runs away
	WarnNotConverged   = "not_converged"      // the mixed model's search found no maximum
	WarnNotIdentified  = "not_identified"     // the mixed model's terms cannot be told apart
	WarnNoMethod       = "no_method"          // from 5 anglers: no method that allows for anglers who differ gives an answer
	WarnOutingsLeftOut = "outings_left_out"   // outings are not in the mixed model
	WarnMethodsDiffer  = "methods_differ"     // mixed model and combination differ by more than ¼ standard error
	WarnInfluential    = "influential_angler" // leaving one angler out moves the combined θ by more than ¼
	WarnNoDraw         = "no_draw"            // no draw was made here: no randomisation test, nothing as allocated
	WarnNoContrast     = "no_contrast"        // another order of the arrangements would have changed nothing
	WarnCasesUnknown   = "cases_left_out"     // choices of fish that these records cannot show, or that are too many
	WarnNoHalves       = "no_halves"          // which period of its block a fish is from is not known
	WarnNoWeeks        = "no_weeks"           // the weeks of some or all fish are not known, or there is one only
	WarnNoColumns      = "no_columns"         // nothing recorded of the fish has two known levels
	WarnSubgroupPower  = "subgroup_power"     // levels that were not told apart need not be alike
	WarnManyAnglers    = "many_anglers"       // what stands beside the headline is worked out in shorter ways
	WarnPartRefused    = "part_refused"       // a part beside the headline could not be fitted
)

// notes gathers warnings in the order in which the analysis meets them.
type notes struct{ list []Warning }

func (n *notes) add(code, format string, args ...any) {
	n.list = append(n.list, Warning{Code: code, Detail: fmt.Sprintf(format, args...)})
}

func (n *notes) has(codes ...string) bool {
	return slices.ContainsFunc(n.list, func(w Warning) bool { return slices.Contains(codes, w.Code) })
}

// known returns x for a result, where null is what is not known.
func known(x float64) *float64 { return &x }

// known2 is known for the pair that an estimate with its range gives.
func known2(x float64, ok bool) *float64 {
	if !ok || math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// noInformation reports the errors of stats/exact that mean "these data do not say": the part is then null.
func noInformation(err error) bool {
	return errors.Is(err, exact.ErrNoCatches) || errors.Is(err, exact.ErrNoInformation) || errors.Is(err, exact.ErrZeroCell) ||
		errors.Is(err, exact.ErrUnbounded) || errors.Is(err, exact.ErrTooFewStrata)
}

// fitOutcome turns the error of a mixed-model fit into its status and the code of the warning; ok is false for an error
// that the data cannot cause. The reason is the error's own words after the package's.
func fitOutcome(err error) (status FitStatus, code, reason string, ok bool) {
	if err == nil {
		return "", "", "", false
	}
	reason = strings.TrimPrefix(err.Error(), "glmm: ")
	switch {
	case errors.Is(err, glmm.ErrOneArrangement):
		return NotFitted, "", reason, true // WarnOneArrangement says it
	case errors.Is(err, glmm.ErrNoVariation), errors.Is(err, glmm.ErrSeparation):
		return Separated, WarnSeparation, reason, true
	case errors.Is(err, glmm.ErrRunaway):
		return NoMaximum, WarnNoMaximum, reason, true
	case errors.Is(err, glmm.ErrNotIdentified):
		return NotIdentified, WarnNotIdentified, reason, true
	case errors.Is(err, glmm.ErrNotConverged):
		return NotConverged, WarnNotConverged, reason, true
	}
	return "", "", "", false
}
