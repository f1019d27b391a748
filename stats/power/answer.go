package power

// Answer is what a question comes to. Shares and chances are 0 to 1; null is what
// cannot be had, or was not asked for. Fish are landed fish unless said otherwise;
// what is lost on the way (Kept) is allowed for everywhere.
type Answer struct {
	Question Question `json:"question"`
	// Kept is the share of the fish planned that are expected to be analysed.
	Kept float64 `json:"kept"`
	// Inflation is by how much planned looks make a trial larger; 1 with a fixed size
	// and with anytime, for which only Played speaks.
	Inflation float64 `json:"inflation"`
	// Fish that must be analysed when anglers are alike, the least there can be.
	Fish int `json:"fish"`
	// Power of the question's team: the chance that it sees the smallest share; PowerAlike
	// the same if anglers were alike.
	Power      float64 `json:"power"`
	PowerAlike float64 `json:"power_alike"`
	// PowerExact is that of one angler by enumeration, half the fish each way round,
	// as if in one block; null for more anglers, more than two patterns or above 2000 fish.
	PowerExact *float64 `json:"power_exact"`
	// Detectable is the smallest share that the team sees with the power asked for.
	Detectable *float64 `json:"detectable_share"`
	// ByAnglers is the team with the question's fish each, ByFish the one with the
	// question's anglers, that has the power asked for; null where no number is
	// enough.
	ByAnglers *Cost `json:"by_anglers"`
	ByFish    *Cost `json:"by_fish"`
	// Shares is what smaller and larger effects cost, in anglers with the question's
	// fish each, ascending.
	Shares []ShareCost `json:"shares"`
	// Teams are sizes about the question's, anglers by fish each, ascending.
	Teams []Team `json:"teams"`
	// EqualPower are the fish each that every number of anglers from 5 on needs,
	// ascending; null where no number is enough.
	EqualPower []EqualPower `json:"equal_power"`
	// ByShare is the team's power against the true share, 50 to 80 of 100, ascending.
	ByShare []SharePower `json:"by_share"`
	// Swaps is what the question's swap rule, first, and others like it leave in
	// finished blocks.
	Swaps []SwapOutcome `json:"swaps"`
	// Thumb is the rule of thumb "55 of 100 fish on one fly prove it the better", with as
	// many fish as the team is expected to have analysed.
	Thumb Thumb `json:"rule_of_thumb"`
	// Played seasons with the smallest share worth knowing, NoEffect ones without an
	// effect: there Settled is the false alarms.
	Played   *Played `json:"played"`
	NoEffect *Played `json:"no_effect"`
	// EnoughByAnglers and EnoughByFish are ByAnglers and ByFish by played seasons, which
	// reach the power within their Monte Carlo error; both are the question's team where
	// that is enough. Null where no team of up to MostPlayed anglers was found to.
	EnoughByAnglers *PlayedTeam `json:"enough_by_anglers"`
	EnoughByFish    *PlayedTeam `json:"enough_by_fish"`
	Warnings        []Warning   `json:"warnings"`
}

// Cost is a team and what its season costs.
type Cost struct {
	Anglers  int     `json:"anglers"`
	FishEach float64 `json:"fish_each"`
	Fish     int     `json:"fish"` // landed in all
	Outings  int     `json:"outings"`
}

// ShareCost is what a share costs: analysed fish when anglers are alike, and the
// team that sees it with the question's fish each; null where none is large enough.
type ShareCost struct {
	Share float64 `json:"share"`
	Alike int     `json:"fish"`
	Team  *Cost   `json:"team"`
}

// Team is one size of a trial.
type Team struct {
	Cost
	Power      float64 `json:"power"`
	PowerAlike float64 `json:"power_alike"`
}

// EqualPower is a size with the power asked for.
type EqualPower struct {
	Anglers  int  `json:"anglers"`
	FishEach *int `json:"fish_each"`
}

// PlayedTeam is a team with its played seasons.
type PlayedTeam struct {
	Cost
	Played Played `json:"played"`
}

// SharePower is the chance that the team sees a share.
type SharePower struct {
	Share float64 `json:"share"`
	Power float64 `json:"power"`
}

// SwapOutcome is what a swap rule leaves, see Finished.
type SwapOutcome struct {
	Rule     SwapRule `json:"rule"`
	Finished float64  `json:"finished"`
	StdErr   float64  `json:"std_error"`
	Swapped  float64  `json:"swapped"`
	Blocks   float64  `json:"blocks_per_outing"`
}

// Thumb is what a rule of thumb does when the flies are alike.
type Thumb struct {
	Percent    int     `json:"percent"`
	Fish       int     `json:"fish"`        // analysed
	Least      int     `json:"least"`       // fish on one fly from which it speaks
	FalseAlarm float64 `json:"false_alarm"` // chance that it speaks for either
}

// Warning is what must be known before a number is read. The codes are stable.
type Warning struct {
	Code   string `json:"code"`
	Detail string `json:"detail"`
}

// The warnings.
const (
	WarnFewAnglers       = "few_anglers"
	WarnAnglersAlike     = "anglers_alike"
	WarnFishNeverEnough  = "fish_never_enough"
	WarnNeverEnough      = "never_enough"
	WarnHardlySwaps      = "hardly_swaps"
	WarnUnfinishedBlocks = "unfinished_blocks"
	WarnAnytime          = "anytime_by_simulation"
	WarnNoAnswer         = "no_answer"
)
