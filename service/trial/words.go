package trial

// Role is what a member is in a club.
type Role string

// The roles of a club's members. A server also has admins, which is a property of the account.
const (
	Organiser Role = "organiser"
	Angler    Role = "angler"
	Auditor   Role = "auditor"
	// Former is who was a member: nothing of the club is his to see but his own records, which he may still send, read and
	// have erased.
	Former Role = "former"
)

// Design is how the two patterns are compared.
type Design string

// Paired swaps the arrangement within the outing; PairedByOuting keeps one arrangement for a whole outing.
const (
	Paired         Design = "paired"
	PairedByOuting Design = "paired_by_outing"
)

// Source says where a trial's records come from: drawn and logged here, or an imported catch table.
type Source string

// The sources. A recorded trial has no draw, no units and nothing hidden.
const (
	Drawn    Source = "drawn"
	Recorded Source = "recorded"
)

// Part is the part a pattern plays: the changed fly is the test, the usual one the control.
type Part string

// The two parts.
const (
	Test    Part = "test"
	Control Part = "control"
)

// Arrangement says which pattern is the lower fly, the last on the line.
type Arrangement string

// The two arrangements, c = +1 and c = -1 of the model.
const (
	TestLower    Arrangement = "test_lower"
	ControlLower Arrangement = "control_lower"
)

// Sign is the model's c: +1 with the test pattern lower, -1 with it upper.
func (a Arrangement) Sign() int {
	if a == TestLower {
		return 1
	}
	return -1
}

// Other is the arrangement with the flies changed over.
func (a Arrangement) Other() Arrangement {
	if a == TestLower {
		return ControlLower
	}
	return TestLower
}

// Position is a place on the rig, or that it is not known, or a third fly.
type Position string

// The positions: Lower is the last fly on the line, Upper the other.
const (
	Lower           Position = "lower"
	Upper           Position = "upper"
	UnknownPosition Position = "unknown"
	OtherPosition   Position = "other"
)

// Taken says which of the two patterns a fish took, as far as it is known.
type Taken string

// What a fish can have taken.
const (
	TookTest    Taken = "test"
	TookControl Taken = "control"
	TookUnknown Taken = "unknown"
	TookOther   Taken = "other"
)

// Outcome is how a fish's visit ended.
type Outcome string

// The outcomes. Only a landed fish can be analysed.
const (
	Landed  Outcome = "landed"
	Lost    Outcome = "lost"
	Touched Outcome = "touched"
)

// Origin is where a fish grew up, as far as it can be told.
type Origin string

// The origins.
const (
	Wild          Origin = "wild"
	Stocked       Origin = "stocked"
	UnknownOrigin Origin = "unknown"
)

// Words that stand for a species that is on no list, and for one that was not recognised.
const (
	OtherSpecies   = "other"
	UnknownSpecies = "unknown"
)

// Exclusion says why a fish is not analysed; the empty string means that it is.
type Exclusion string

// The exclusions, in the order in which they apply: the first that fits is the one counted.
const (
	Analysed       Exclusion = ""
	Void           Exclusion = "void"
	Disputed       Exclusion = "disputed"
	AfterLock      Exclusion = "after_lock"
	SameFlyCheck   Exclusion = "same_fly_check"
	ExcludeLost    Exclusion = "lost"
	ExcludeTouched Exclusion = "touched"
	FoulHooked     Exclusion = "foul_hooked"
	WrongSpecies   Exclusion = "species"
	TooShort       Exclusion = "too_short"
	NotConfirmed   Exclusion = "not_confirmed"
	RigNotIntact   Exclusion = "rig_not_intact"
	WhileSwapping  Exclusion = "while_swapping"
	Double         Exclusion = "double"
	OtherFly       Exclusion = "other_fly"
	NotSure        Exclusion = "not_sure"
)

// Exclusions lists every reason in the order in which they apply.
func Exclusions() []Exclusion {
	return []Exclusion{
		Void, Disputed, AfterLock, SameFlyCheck, ExcludeLost, ExcludeTouched, FoulHooked, WrongSpecies, TooShort,
		NotConfirmed, RigNotIntact, WhileSwapping, Double, OtherFly, NotSure,
	}
}
