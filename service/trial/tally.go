package trial

import (
	"cmp"
	"slices"
)

// Tally is a count of like fish: N fish of one angler that agree in everything else listed. It is what the analysis
// reads, whether the fish came from a drawn trial's records or from a catch table.
//
// Angler is a pseudonym (in a catch table: the angler's text). Outing and Block are labels that are unique within the
// angler, Period one within its block; an empty Outing means that the day is not known, an empty Block or Period that
// there is none. Arrangement is as fished. Taken is the pattern taken with what is known of position already used. Week is
// "2026-W36" (ISO 8601) and Month, the week's, "2026-09" (see MonthOf), both empty when the time is not known.
//
// Half says which of its block's two periods the fish is from, 1 or 2, 0 when not known. Drawn is the arrangement that the
// draw gave the period, empty where there was no draw. Finished says that both periods of the block ended by the rule.
// OpenedLate, Late and Deviated mark a fish of an outing that was opened after fishing began, a fish noted late, and one
// caught while something was reported as not as planned; DisputedOnly one that nothing but its dispute leaves out. WaterType is the kind of water, never its name; Fly the dressing
// that carried the change. Columns holds the values of the further columns that subgroups were asked for, as Further
// writes them, Welfare the signs of harm seen on the fish, as Catch has them.
//
// An angler's tallies grow with outings times periods times what differs within one: patterns taken, species, origins,
// exclusions, dressings, and whether a fish was late or an outing went on past midnight into another month. They do not
// grow with the fish, unless a further column that differs from fish to fish is asked for.
type Tally struct {
	Angler       string      `json:"angler"`
	Outing       string      `json:"outing"`
	Block        string      `json:"block"`
	Period       string      `json:"period"`
	Arrangement  Arrangement `json:"arrangement"`
	Taken        Taken       `json:"taken"`
	Species      string      `json:"species"`
	Origin       Origin      `json:"origin"`
	Month        string      `json:"month"`
	Week         string      `json:"week"`
	Exclusion    Exclusion   `json:"exclusion"`
	Half         int         `json:"half,omitempty"`
	Drawn        Arrangement `json:"drawn,omitempty"`
	Finished     bool        `json:"finished,omitempty"`
	OpenedLate   bool        `json:"opened_late,omitempty"`
	Late         bool        `json:"late,omitempty"`
	Deviated     bool        `json:"deviated,omitempty"`
	DisputedOnly bool        `json:"disputed_only,omitempty"`
	WaterType    string      `json:"water_type,omitempty"`
	Fly          string      `json:"fly,omitempty"`
	Columns      string      `json:"columns,omitempty"`
	Welfare      string      `json:"welfare,omitempty"`
	N            int64       `json:"n"`
}

// DrawnBlock is one opened unit of an angler's draw: the block it was used for (as Tally.Block), the number of its permuted
// group (from 1; a coin is a group of one), the group's size, 0 while units of the group are unopened so that its last
// cannot be told, and which arrangement was fished first. Listed in the order of the units.
type DrawnBlock struct {
	Angler string      `json:"angler"`
	Block  string      `json:"block"`
	Group  int         `json:"group"`
	Size   int         `json:"size"`
	First  Arrangement `json:"first"`
}

// Effort is the part of the flow diagram that has no fish in it: how many anglers joined, outings they opened (blank
// ones too), blocks they opened and finished, how many of the blocks a phone, a slip or a coin drew instead of the service, and how
// many units were lost with their phone, how many of the anglers were guests for a day and how many fish somebody else typed; and how many anglers had their records erased, with how many fish. Zero where a source does not
// know (a catch table has no blank outings).
type Effort struct {
	Enrolled       int64 `json:"enrolled"`
	Outings        int64 `json:"outings"`
	BlankOutings   int64 `json:"blank_outings"`
	Blocks         int64 `json:"blocks"`
	FinishedBlocks int64 `json:"finished_blocks"`
	NotLogged      int64 `json:"not_logged"`
	Deviations     int64 `json:"deviations"`
	LateNoted      int64 `json:"late_noted"`
	ErasedAnglers  int64 `json:"erased_anglers,omitempty"`
	ErasedFish     int64 `json:"erased_fish,omitempty"`
	PhoneBlocks    int64 `json:"phone_blocks,omitempty"`
	SlipBlocks     int64 `json:"slip_blocks,omitempty"`
	CoinBlocks     int64 `json:"coin_blocks,omitempty"`
	LostUnits      int64 `json:"lost_units,omitempty"`
	Guests         int64 `json:"guests,omitempty"`
	TypedFish      int64 `json:"typed_fish,omitempty"`
	Cards          int64 `json:"cards,omitempty"`
}

// SubgroupColumns are the columns of its own by which a tally's fish can be told apart in subgroups; month is taken from the
// time of the catch. A table's further columns can be asked for beside them.
func SubgroupColumns() []string { return []string{"species", "origin", "water_type", "fly", "month"} }

// Level returns what stands in one of SubgroupColumns or in a further column for the tally's fish; empty where it is not
// known.
func (t Tally) Level(column string) string {
	switch column {
	case "species":
		return t.Species
	case "origin":
		return string(t.Origin)
	case "water_type":
		return t.WaterType
	case "fly":
		return t.Fly
	case "month":
		return t.Month
	}
	return Further(t.Columns).Values()[column]
}

// CompareTallies orders tallies by all their fields but N, in the order of the fields' names in JSON, so that the same fish
// give the same list wherever they were counted.
func CompareTallies(a, b Tally) int {
	return cmp.Or(
		cmp.Compare(a.Angler, b.Angler), cmp.Compare(a.Arrangement, b.Arrangement), cmp.Compare(a.Block, b.Block), cmp.Compare(a.Columns, b.Columns),
		compareBools(a.Deviated, b.Deviated), compareBools(a.DisputedOnly, b.DisputedOnly), cmp.Compare(a.Drawn, b.Drawn), cmp.Compare(a.Exclusion, b.Exclusion),
		compareBools(a.Finished, b.Finished), cmp.Compare(a.Fly, b.Fly), cmp.Compare(a.Half, b.Half), compareBools(a.Late, b.Late),
		cmp.Compare(a.Month, b.Month), compareBools(a.OpenedLate, b.OpenedLate), cmp.Compare(a.Origin, b.Origin), cmp.Compare(a.Outing, b.Outing),
		cmp.Compare(a.Period, b.Period), cmp.Compare(a.Species, b.Species), cmp.Compare(a.Taken, b.Taken),
		cmp.Compare(a.WaterType, b.WaterType), cmp.Compare(a.Week, b.Week), cmp.Compare(a.Welfare, b.Welfare),
	)
}

func compareBools(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}

// SumTallies turns counts of like fish, keyed by tallies without N, into tallies in CompareTallies's order. Counts of 0 are
// left out.
func SumTallies(counts map[Tally]int64) []Tally {
	tallies := make([]Tally, 0, len(counts))
	for t, n := range counts {
		if t.N = n; n != 0 {
			tallies = append(tallies, t)
		}
	}
	slices.SortFunc(tallies, CompareTallies)
	return tallies
}
