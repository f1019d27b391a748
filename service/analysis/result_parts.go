package analysis

// Randomisation is the test that re-draws the order of every block as it was drawn: which position each fish took is
// held, and the orders are drawn again by the protocol's own rule. P is that of the sum over blocks of lower takes with the
// test pattern lower less those with it upper, each against its block's mean; AnglersP that of the same sum with every angler
// counting alike (exact, or by 9,999 random orders where there are too many). SmallestP is the smallest P that any outcome could have given. Exact says that P is over every order; else
// Draws of them were drawn and P = (1 + as extreme) / (1 + Draws) (Phipson and Smyth 2010). With so many groups that neither is
// done P is the saddlepoint approximation, with Exact false and Draws 0.
type Randomisation struct {
	P         float64  `json:"p"`
	AnglersP  *float64 `json:"anglers_p"`
	SmallestP float64  `json:"smallest_p"`
	Draws     int64    `json:"draws"` // 0 where P is exact, or an approximation
	Exact     bool     `json:"exact"`
	Blocks    int64    `json:"blocks"` // drawn blocks that have analysed fish in both halves
}

// Coefficient is one fixed effect of a mixed model: log odds with limits by t on K - 1.
type Coefficient struct {
	LogOdds  float64 `json:"log_odds"`
	StdError float64 `json:"std_error"`
	Low      float64 `json:"low"`
	High     float64 `json:"high"`
	P        float64 `json:"p"`
}

// OrderEffect is second minus first period of the block, on the logit of test taken, with the angler terms kept. CarryOver is by
// how much the position effect β changes from the first period to the second: the arrangement before a second period is always the other one, so
// that whatever carries over from it, and a change of depth or light within the block, shows there; nil where it cannot be
// fitted. Analysed counts the fish whose period of the block is known.
type OrderEffect struct {
	Coefficient
	Analysed  int64        `json:"analysed"`
	CarryOver *Coefficient `json:"carry_over"`
}

// AsAllocated is the same question with the arrangement that was drawn in place of the one that was fished, by the
// headline's method. Which position each fish took is held; the pattern it is counted for is the one that the draw
// had there. Fish of periods that were not drawn are not in it. Reason says why numbers are nil, empty where they are not.
type AsAllocated struct {
	Analysed int64    `json:"analysed"`
	Changed  int64    `json:"changed"` // analysed fish whose period was fished the other way round than drawn
	LogOdds  *float64 `json:"log_odds"`
	Low      *float64 `json:"low"`
	High     *float64 `json:"high"`
	P        *float64 `json:"p"`
	Reason   string   `json:"reason"`
}

// Case names a choice of fish.
type Case string

// The cases of the sensitivity analysis. Fish are added to or taken from the main set; of the fish added, only those with a
// known arrangement and pattern can be.
const (
	CaseMain              Case = "main"                // the headline's fish
	CaseNotSureTest       Case = "not_sure_test"       // every not-sure fish with a known arrangement taken for the test pattern
	CaseNotSureControl    Case = "not_sure_control"    // the same for the control pattern
	CaseWithLost          Case = "with_lost"           // with lost fish of known pattern
	CaseWithFoulHooked    Case = "with_foul_hooked"    // with foul-hooked fish
	CaseWithSwapping      Case = "with_while_swapping" // with fish caught while swapping
	CaseWithDoubles       Case = "with_doubles"        // with fish of a double
	CaseWithDisputed      Case = "with_disputed"       // with fish that nothing but a dispute leaves out
	CaseWithoutLate       Case = "without_late"        // without fish noted late
	CaseFinishedBlocks    Case = "finished_blocks"     // only blocks of which both periods ended by the rule
	CaseWithoutOpenedLate Case = "without_opened_late" // without outings that were opened after fishing began
	CaseWithoutDeviations Case = "without_deviations"  // without periods in which something was not as planned
	CaseAsAllocated       Case = "as_allocated"        // the arrangement as drawn, see AsAllocated
	CaseNotLoggedTest     Case = "not_logged_test"     // with every fish that was not logged, taken for the test pattern
	CaseNotLoggedControl  Case = "not_logged_control"  // the same for the control pattern
	CaseWithoutLeft       Case = "without_left"        // without anglers who left and let their records stay
	CaseErasedTest        Case = "erased_test"         // with every fish of erased anglers, taken for the test pattern
	CaseErasedControl     Case = "erased_control"      // the same for the control pattern
	CaseWithoutAngler     Case = "without_angler"      // each angler left out in turn; Of names the angler
	CaseOnlyFly           Case = "only_fly"            // one dressing only; Of names it
	CaseOnlyTyer          Case = "only_tyer"           // one tyer's flies only; Of names the tyer
	CaseOnlyBelief        Case = "only_belief"         // anglers or fish of one belief about the patterns; Of names it
)

// SensitivityCase is the headline method on another choice of fish, looks not allowed for, a mixed model with fewer quadrature
// points (7, with outings 3; see WarnManyAnglers). Of is the angler or the level that the case is about,
// empty for none. Where the numbers are nil, Reason says why; a single limit that has no bound is nil too.
type SensitivityCase struct {
	Case     Case     `json:"case"`
	Of       string   `json:"of"`
	Analysed int64    `json:"analysed"`
	LogOdds  *float64 `json:"log_odds"`
	Low      *float64 `json:"low"`
	High     *float64 `json:"high"`
	Reason   string   `json:"reason"`
}

// TippingPoint asks how different fish that are not sure would have to be for the verdict to change: P(test taken | not sure, c)
// = expit(θ + βc + delta) (Rubin 1977). Delta is the shift nearest to 0, from -2 to 2, from which another verdict stands,
// and Verdict that one; nil and empty where none does. Points run over deltas from -2 to 2.
type TippingPoint struct {
	NotSure int64          `json:"not_sure"` // fish with a known arrangement
	Delta   *float64       `json:"delta"`
	Verdict VerdictCode    `json:"verdict"`
	Points  []TippingShift `json:"points"`
}

// TippingShift is θ of all fish, sure or not, under one shift. Test is the share of the not-sure fish that would then have
// taken the test pattern, 0 to 1.
type TippingShift struct {
	Delta   float64     `json:"delta"`
	Test    float64     `json:"test"`
	LogOdds *float64    `json:"log_odds"`
	Low     *float64    `json:"low"`
	High    *float64    `json:"high"`
	Verdict VerdictCode `json:"verdict"`
}

// Drift is the change of θ with time, log odds per week, with θ by weeks and by thirds of the trial (by weeks from the
// first fish to the last). All are of the mixed model; a week or third with too few fish has null numbers.
type Drift struct {
	PerWeek *float64     `json:"per_week"`
	Low     *float64     `json:"low"`
	High    *float64     `json:"high"`
	P       *float64     `json:"p"`
	Weeks   []DriftPoint `json:"weeks"`  // never nil, in order of time
	Thirds  []DriftPoint `json:"thirds"` // never nil
}

// DriftPoint is θ in one week ("2026-W36", ISO 8601) or third ("first", "second", "last") of the trial.
type DriftPoint struct {
	Label    string   `json:"label"`
	Analysed int64    `json:"analysed"`
	LogOdds  *float64 `json:"log_odds"`
	Low      *float64 `json:"low"`
	High     *float64 `json:"high"`
}

// PositionBy compares the position effect β between the levels of one column: exploratory. P is the likelihood-ratio test of
// the column's interaction with the arrangement. That β differs between anglers is MixedModel.SDPosition.
type PositionBy struct {
	Column string          `json:"column"`
	P      *float64        `json:"p"`
	Levels []PositionLevel `json:"levels"`
}

// PositionLevel is β in one level, not shrunk.
type PositionLevel struct {
	Level   string   `json:"level"`
	Catches int64    `json:"catches"`
	LogOdds *float64 `json:"log_odds"`
	Low     *float64 `json:"low"`
	High    *float64 `json:"high"`
}

// Correction says how p values are adjusted for how many of them there are.
type Correction string

// The corrections: Holm (1979) over the columns named beforehand, Benjamini and Hochberg (1995) over those that are only looked
// through.
const (
	ByHolm Correction = "holm"
	ByBH   Correction = "benjamini_hochberg"
)

// Subgroup compares the levels of one column. Named says that the protocol (or --subgroup) named it beforehand; otherwise it
// is exploratory. P is the likelihood-ratio test of the column's main effect on the logit of test taken, angler terms kept,
// Statistic on DF degrees of freedom; Reason says why they are nil, empty where they are not. Levels stand in the order of their
// labels, never by effect.
type Subgroup struct {
	Column     string          `json:"column"`
	Named      bool            `json:"named"`
	Statistic  *float64        `json:"statistic"`
	DF         *int            `json:"df"`
	P          *float64        `json:"p"`
	AdjustedP  *float64        `json:"adjusted_p"`
	Correction Correction      `json:"correction"`
	Tau2       *float64        `json:"tau2"` // variance of θ between levels, by which they are shrunk
	Levels     []SubgroupLevel `json:"levels"`
	Reason     string          `json:"reason"`
}

// LowerShare is the share of fish that took the lower fly, 0 to 1, with exact binomial limits.
type LowerShare struct {
	Estimate float64 `json:"estimate"`
	Low      float64 `json:"low"`
	High     float64 `json:"high"`
}

// SubgroupLevel is one level of a column. LogOdds is θ there, shrunk toward the mean over levels by μ + τ²/(τ² + v)·(θ -
// μ), v the square of its standard error, with limits; nil where it cannot be had. Small levels stand together in one, of which
// Joined lists the labels; it is nil otherwise.
type SubgroupLevel struct {
	Level      string     `json:"level"`
	Joined     []string   `json:"joined"`
	Catches    int64      `json:"catches"`
	LowerShare LowerShare `json:"lower_share"`
	LogOdds    *float64   `json:"log_odds"`
	Low        *float64   `json:"low"`
	High       *float64   `json:"high"`
}
