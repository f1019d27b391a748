package analysis

import "evenrig/service/trial"

// Result is the analysis of one trial or catch table. Its JSON form (see Encode) is a stable contract. A nil pointer or
// a nil slice is null there: the part could not be estimated, and Warnings says why, or the part was not asked for.
type Result struct {
	Design  trial.Design `json:"design"`
	Test    string       `json:"test"`    // code of the test pattern
	Control string       `json:"control"` // code of the control pattern

	Counts   Counts   `json:"counts"`
	Headline Headline `json:"headline"`

	RawShare    *RawShare    `json:"raw_share"`    // nil without an analysed fish
	PooledTable *PooledTable `json:"pooled_table"` // nil unless both arrangements and both positions have fish
	Stratified  *Stratified  `json:"stratified"`   // nil unless a stratum has fish in both arrangements and positions
	MixedModel  *MixedModel  `json:"mixed_model"`  // nil without an analysed fish; a fit that was refused has a Status
	Anglers     []Angler     `json:"anglers"`      // never nil, in the order of the anglers' labels
	Combined    *Combined    `json:"combined"`     // nil unless two anglers have fish in both arrangements

	// The parts below are null where the source of the records cannot give them; a warning says so.
	Randomisation *Randomisation    `json:"randomisation"`         // nil without a draw made here
	OrderEffect   *OrderEffect      `json:"order_effect"`          // nil where the half of a block is not known
	AsAllocated   *AsAllocated      `json:"as_allocated"`          // nil without a draw made here
	Sensitivity   []SensitivityCase `json:"sensitivity"`           // nil without an analysed fish; the first row is the headline's
	Unchanged     []Case            `json:"sensitivity_unchanged"` // cases that would analyse the same fish; nil as Sensitivity
	TippingPoint  *TippingPoint     `json:"tipping_point"`         // nil without a fish that is not sure, or where nothing speaks
	Drift         *Drift            `json:"drift"`                 // nil where weeks are not known
	PositionBy    []PositionBy      `json:"position_by"`           // β by what is recorded; nil without an analysed fish
	Subgroups     []Subgroup        `json:"subgroups"`             // nil without an analysed fish; the named ones first
	Monitoring    *Monitoring       `json:"monitoring"`
	Harms         *Harms            `json:"harms"` // nil without a landed fish

	Verdict        Verdict      `json:"verdict"`
	Warnings       []Warning    `json:"warnings"`    // never nil
	Fingerprint    string       `json:"fingerprint"` // SHA-256 of the canonical input counts, 64 hexadecimal digits
	Settings       SettingsUsed `json:"settings"`
	ProgramVersion string       `json:"program_version"`
}

// Counts is what came in. Catches = Analysed + the sum of Excluded; Analysed = Test + Control = the four cells.
type Counts struct {
	Anglers  int64                     `json:"anglers"` // who joined; for a catch table, anglers with at least one row
	Outings  int64                     `json:"outings"` // blank ones too where the source knows them
	Catches  int64                     `json:"catches"`
	Analysed int64                     `json:"analysed"`
	Excluded map[trial.Exclusion]int64 `json:"excluded"` // only reasons that occur; never nil

	Test    int64 `json:"test"`    // analysed fish that took the test pattern
	Control int64 `json:"control"` // analysed fish that took the control pattern

	TestLower    ByPosition `json:"test_lower"`    // with the test pattern lower: Lower took the test pattern
	ControlLower ByPosition `json:"control_lower"` // with the control pattern lower: Lower took the control pattern
}

// ByPosition counts analysed fish of one arrangement by the fly they took.
type ByPosition struct {
	Lower int64 `json:"lower"`
	Upper int64 `json:"upper"`
}

// Method is the method that speaks for the trial.
type Method string

// The methods of the headline.
const (
	ExactStratified   Method = "exact_stratified"
	MixedModelProfile Method = "mixed_model"
)

// Headline is the one answer: verdict, main sentence and the pooled mark of every figure use these numbers and no
// others. LogOdds is θ with limits Low and High; Share = expit(θ), 0 to 1. An infinite estimate or limit is nil with a
// share of 0 or 1 and the warning `unbounded`. DF is nil unless a t quantile was used; it need not be whole. The average shares are over
// anglers, outings and both arrangements, and nil for exact_stratified. Where no method speaks every number
// is nil, and Method names the one that would have.
type Headline struct {
	Method       Method   `json:"method"`
	Reason       string   `json:"reason"` // why this method, a sentence
	LogOdds      *float64 `json:"log_odds"`
	Low          *float64 `json:"low"`
	High         *float64 `json:"high"`
	P            *float64 `json:"p"`
	DF           *float64 `json:"df"`
	Share        *float64 `json:"share"`
	ShareLow     *float64 `json:"share_low"`
	ShareHigh    *float64 `json:"share_high"`
	AverageShare *float64 `json:"average_share"`
	AverageLow   *float64 `json:"average_low"`
	AverageHigh  *float64 `json:"average_high"`
}

// RawShare is the share of analysed fish that took the test pattern, 0 to 1, position not adjusted, with exact binomial
// limits (Clopper and Pearson 1934). P is the two-sided exact p of a share of one half, by minimum likelihood.
type RawShare struct {
	Estimate float64 `json:"estimate"`
	Low      float64 `json:"low"`
	High     float64 `json:"high"`
	P        float64 `json:"p"`
}

// PooledTable takes all fish as independent, in one 2x2 table of arrangement by position taken. The Woolf fields (down
// to PositionLogOdds) are nil where a cell is zero. The conditional odds ratio is exp(2θ), by conditional maximum
// likelihood; nil where it or its limit is infinite.
type PooledTable struct {
	LogOdds         *float64 `json:"log_odds"`
	StdError        *float64 `json:"std_error"`
	Low             *float64 `json:"low"`
	High            *float64 `json:"high"`
	P               *float64 `json:"p"`
	Share           *float64 `json:"share"`
	ShareLow        *float64 `json:"share_low"`
	ShareHigh       *float64 `json:"share_high"`
	PositionLogOdds *float64 `json:"position_log_odds"`
	FisherP         *float64 `json:"fisher_p"`
	Conditional     *float64 `json:"conditional_odds_ratio"`
	ConditionalLow  *float64 `json:"conditional_low"`
	ConditionalHigh *float64 `json:"conditional_high"`
}

// Stratified tests "no effect for any angler" within strata: Cochran-Mantel-Haenszel without continuity correction,
// the Mantel-Haenszel odds ratio exp(2θ) with Robins-Breslow-Greenland limits, Tarone's homogeneity, and the exact
// conditional test and limits. Strata counts those that carry information.
type Stratified struct {
	Strata         int      `json:"strata"`
	Statistic      *float64 `json:"statistic"` // chi-square, 1 df
	P              *float64 `json:"p"`
	OddsRatio      *float64 `json:"odds_ratio"`
	Low            *float64 `json:"low"`
	High           *float64 `json:"high"`
	HomogeneityX2  *float64 `json:"homogeneity_statistic"` // chi-square, Strata - 1 df
	HomogeneityP   *float64 `json:"homogeneity_p"`
	ExactP         *float64 `json:"exact_p"`         // two-sided by minimum likelihood
	ExactPCentral  *float64 `json:"exact_p_central"` // twice the smaller tail; goes with the exact limits
	ExactOddsRatio *float64 `json:"exact_odds_ratio"`
	ExactLow       *float64 `json:"exact_low"`
	ExactHigh      *float64 `json:"exact_high"`
}

// Vary says what differs between anglers (and outings) in the mixed model.
type Vary string

// The accepted forms. Pattern is u; PatternPosition is u and v; PatternPositionOuting is u, v and w.
const (
	VaryPattern               Vary = "pattern"
	VaryPatternPosition       Vary = "pattern+position"
	VaryPatternPositionOuting Vary = "pattern+position+outing"
)

// FitStatus says how the mixed model's fit ended.
type FitStatus string

// The ways in which a fit ends. All numbers of a MixedModel are nil unless it is Converged.
const (
	Converged     FitStatus = "converged"
	Separated     FitStatus = "separation"     // the likelihood has no maximum: a pattern or a position was always taken
	NoMaximum     FitStatus = "no_maximum"     // a standard deviation runs away
	NotIdentified FitStatus = "not_identified" // the data cannot tell two terms apart
	NotConverged  FitStatus = "not_converged"  // the search stopped early
	NotFitted     FitStatus = "not_fitted"     // one arrangement only, or one angler
)

// MixedModel is the generalised linear mixed model over anglers. LogOdds is θ of a typical angler, Low and High its limits by Wald
// with t on K - 1; StdError comes from the observed information of all parameters. The profile limits are those of the profile
// likelihood with its cut made for few anglers (package calibration), ProfileP goes with them, and ProfileDF is the effective
// number of anglers less one; these speak in the headline. A limit that does not exist is nil. SDPatternHigh is the upper profile
// limit of SDPattern, BoundaryP the p of its being 0 (Self and Liang 1987). SDs are those of u, v and w: 0 where the
// estimate is at the boundary (then Singular), nil where the term is not in Vary. LogLikelihood is that of single
// catches (Bernoulli). Method is "laplace" or "adaptive_gauss_hermite", Points the quadrature points per dimension (1 for Laplace).
type MixedModel struct {
	Vary             Vary      `json:"vary"`
	LogOdds          *float64  `json:"log_odds"`
	StdError         *float64  `json:"std_error"`
	Low              *float64  `json:"low"`
	High             *float64  `json:"high"`
	ProfileLow       *float64  `json:"profile_low"`
	ProfileHigh      *float64  `json:"profile_high"`
	ProfileP         *float64  `json:"profile_p"`
	ProfileDF        *float64  `json:"profile_df"`
	P                *float64  `json:"p"`
	Share            *float64  `json:"share"`
	ShareLow         *float64  `json:"share_low"`
	ShareHigh        *float64  `json:"share_high"`
	AverageShare     *float64  `json:"average_share"`
	AverageLow       *float64  `json:"average_low"` // at Low and High
	AverageHigh      *float64  `json:"average_high"`
	PositionLogOdds  *float64  `json:"position_log_odds"`
	PositionStdError *float64  `json:"position_std_error"`
	SDPattern        *float64  `json:"sd_pattern"`
	SDPosition       *float64  `json:"sd_position"`
	SDOuting         *float64  `json:"sd_outing"`
	SDPatternHigh    *float64  `json:"sd_pattern_high"`
	BoundaryP        *float64  `json:"boundary_p"`
	Correlation      *float64  `json:"correlation"`
	LogLikelihood    *float64  `json:"log_likelihood"`
	Method           string    `json:"method"`
	Points           int       `json:"points"`
	Singular         bool      `json:"singular"`
	Status           FitStatus `json:"status"`

	averageLow, averageHigh float64 // average shares at the profile limits, 0 and 1 where there are none
}

// Angler is one angler's own answer: θ_i = ½[ln(a/b) + ln(c/d)], a, b = test, control taken with the test pattern lower,
// c, d = the same with it upper. HalfAdded says that a cell was zero and ½ was added to all four. LogOdds and StdError are
// nil where an arrangement is empty. Shrunk values are θ plus the mode of u from the mixed model, nil unless it was
// fitted; ShrunkStdError includes the spread of u given the parameters, the uncertainty of every parameter, and their
// covariance (delta method, Kass and Steffey 1989).
type Angler struct {
	Angler         string     `json:"angler"`
	TestLower      ByPosition `json:"test_lower"`
	ControlLower   ByPosition `json:"control_lower"`
	LogOdds        *float64   `json:"log_odds"`
	StdError       *float64   `json:"std_error"`
	HalfAdded      bool       `json:"half_added"`
	ShrunkLogOdds  *float64   `json:"shrunk_log_odds"`
	ShrunkStdError *float64   `json:"shrunk_std_error"`
}

// Estimator names the estimator of τ², the variance of θ_i between anglers.
type Estimator string

// The estimators: none (common effect), DerSimonian and Laird 1986, Paule and Mandel 1982, restricted and full maximum
// likelihood (Viechtbauer 2005).
const (
	CommonEffect Estimator = "common"
	DL           Estimator = "DL"
	PM           Estimator = "PM"
	REML         Estimator = "REML"
	ML           Estimator = "ML"
)

// Adjustment says how the interval of a combination is made.
type Adjustment string

// The adjustments: normal; t on k - 1 with the squared standard error times q (Hartung and Knapp 2001); the same times
// max(1, q) (Röver, Knapp and Friede 2015).
const (
	Unadjusted Adjustment = "none"
	HK         Adjustment = "HK"
	ModifiedHK Adjustment = "modified_HK"
)

// Combined is the meta-analysis of the anglers' own answers. Headline indexes Estimates: the REML row with modified_HK.
// I2 runs 0 to 1. LeftOut counts anglers with analysed fish who are not in it because an arrangement is empty.
type Combined struct {
	Estimates   []CombinedEstimate `json:"estimates"`
	Headline    int                `json:"headline"`
	Q           float64            `json:"q"`
	QDF         int                `json:"q_df"`
	QP          float64            `json:"q_p"`
	I2          float64            `json:"i2"`
	Tau2Low     *float64           `json:"tau2_low"`
	Tau2High    *float64           `json:"tau2_high"`
	LeftOut     int                `json:"left_out"`
	LeaveOneOut []LeftOneOut       `json:"leave_one_out"` // never nil; empty with k = 2
	Conditional *ConditionalRow    `json:"conditional"`   // nil where it has no finite answer
	Asymmetry   *MetaTest          `json:"asymmetry"`     // nil under 10 anglers
	Regression  *MetaRegression    `json:"regression"`    // nil under 10 anglers
}

// CombinedEstimate is one estimator with one adjustment; LogOdds is the mean θ over anglers, Tau2 on the same scale. The
// prediction limits are for another angler's θ: t on k - 2; nil for `common` and with k < 3.
type CombinedEstimate struct {
	Estimator      Estimator  `json:"estimator"`
	Adjustment     Adjustment `json:"adjustment"`
	LogOdds        *float64   `json:"log_odds"`
	StdError       *float64   `json:"std_error"`
	Low            *float64   `json:"low"`
	High           *float64   `json:"high"`
	P              *float64   `json:"p"`
	Tau2           *float64   `json:"tau2"`
	PredictionLow  *float64   `json:"prediction_low"`
	PredictionHigh *float64   `json:"prediction_high"`
}

// LeftOneOut is the headline combination without one angler. Information is the angler's share of the information of the
// combination, 0 to 1; Shift how far it moves without the angler, in its standard errors; Influential says that it
// moves by more than a quarter in log odds.
type LeftOneOut struct {
	Angler      string   `json:"angler"`
	LogOdds     *float64 `json:"log_odds"`
	Low         *float64 `json:"low"`
	High        *float64 `json:"high"`
	Information *float64 `json:"information"`
	Shift       *float64 `json:"shift"`
	Influential bool     `json:"influential"`
}

// ConditionalRow combines the anglers' tables without the large-sample step and without any ½: the exact conditional
// likelihood of each table given its margins, θ normal between anglers (Stijnen, Hamza and Özdemir 2010), limits by t on
// Anglers - 1. It serves anglers with few fish.
type ConditionalRow struct {
	Anglers int      `json:"anglers"` // whose tables say anything
	LogOdds *float64 `json:"log_odds"`
	Low     *float64 `json:"low"`
	High    *float64 `json:"high"`
	P       *float64 `json:"p"`
	Tau2    *float64 `json:"tau2"` // variance of θ between anglers
}

// MetaTest is the test that anglers with little information answer otherwise than those with much: the regression of their
// answers on their standard errors, t on DF.
type MetaTest struct {
	Statistic float64 `json:"statistic"`
	DF        float64 `json:"df"`
	P         float64 `json:"p"`
}

// MetaRegression is how anglers' own answers go with something about them: log odds for one unit more of Column, which is
// fish_doubled: for twice as many analysed fish.
type MetaRegression struct {
	Column   string   `json:"column"`
	LogOdds  *float64 `json:"log_odds"`
	StdError *float64 `json:"std_error"`
	Low      *float64 `json:"low"`
	High     *float64 `json:"high"`
	P        *float64 `json:"p"`
}

// VerdictCode is what the headline says against one half and against the smallest share worth knowing.
type VerdictCode string

// The verdicts. Even needs the whole interval inside the band from 1-s to s, s the smallest share worth knowing.
const (
	TestTakesMore    VerdictCode = "test_takes_more"
	ControlTakesMore VerdictCode = "control_takes_more"
	Even             VerdictCode = "even"
	NotSettled       VerdictCode = "not_settled"
)

// Verdict is the answer in words. Limits are sentences on what the result does not show; never empty. More is what would
// settle it, nil unless Code is NotSettled and it can be told.
type Verdict struct {
	Code     VerdictCode `json:"code"`
	Sentence string      `json:"sentence"`
	Limits   []string    `json:"limits"`
	More     *MoreFish   `json:"more"`
}

// MoreFish is about how many more analysed fish, by how many anglers in all, would settle the question if the truth is as
// estimated and anglers differ as estimated.
type MoreFish struct {
	Fish    int64 `json:"fish"`
	Anglers int64 `json:"anglers"`
}

// Warning says what could not be done or must be known before reading a number. Code is one of the Warn constants.
type Warning struct {
	Code   string `json:"code"`
	Detail string `json:"detail"`
}

// SettingsUsed is what the analysis ran with, after defaults: Vary is the form fitted, Points the points per dimension,
// Alpha one minus the level of every interval, SmallestShare the share worth knowing (0.5 to 1).
type SettingsUsed struct {
	Vary          Vary         `json:"vary"`
	Correlated    bool         `json:"correlated"`
	Points        int          `json:"points"`
	Alpha         float64      `json:"alpha"`
	SmallestShare float64      `json:"smallest_share"`
	LowerWord     string       `json:"lower_word"`
	UpperWord     string       `json:"upper_word"`
	Source        trial.Source `json:"source"`
}
