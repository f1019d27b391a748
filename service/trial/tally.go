package trial

// Tally is a count of like fish: N fish of one angler that agree in everything else listed. It is what the analysis
// reads, whether the fish came from a drawn trial's records or from a catch table.
//
// Angler is a pseudonym (in a catch table: the angler's text). Outing, Block and Period are labels that are unique
// within the angler; an empty Outing means that the day is not known, an empty Block or Period that there is none.
// Arrangement is as fished. Taken is the pattern taken with what is known of position already used. Month is
// "2026-09" and Week "2026-W36" (ISO 8601), both empty when the time is not known.
//
// Half says which of its block's two periods the fish is from, 1 or 2, 0 when not known. Drawn is the arrangement that the
// draw gave the period, empty where there was no draw. Finished says that both periods of the block ended by the rule.
// OpenedLate, Late and Deviated mark a fish of an outing that was opened after fishing began, a fish noted late, and one in
// whose period something was reported as not as planned. Columns holds the values of the further columns that subgroups
// were asked for, as a canonical JSON object of texts, empty for none.
type Tally struct {
	Angler      string      `json:"angler"`
	Outing      string      `json:"outing"`
	Block       string      `json:"block"`
	Period      string      `json:"period"`
	Arrangement Arrangement `json:"arrangement"`
	Taken       Taken       `json:"taken"`
	Species     string      `json:"species"`
	Origin      Origin      `json:"origin"`
	Month       string      `json:"month"`
	Week        string      `json:"week"`
	Exclusion   Exclusion   `json:"exclusion"`
	Half        int         `json:"half,omitempty"`
	Drawn       Arrangement `json:"drawn,omitempty"`
	Finished    bool        `json:"finished,omitempty"`
	OpenedLate  bool        `json:"opened_late,omitempty"`
	Late        bool        `json:"late,omitempty"`
	Deviated    bool        `json:"deviated,omitempty"`
	WaterType   string      `json:"water_type,omitempty"`
	Fly         string      `json:"fly,omitempty"`
	Columns     string      `json:"columns,omitempty"`
	N           int64       `json:"n"`
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
// ones too), blocks they opened and finished. Zero where a source does not know (a catch table has no blank outings).
type Effort struct {
	Enrolled       int64 `json:"enrolled"`
	Outings        int64 `json:"outings"`
	BlankOutings   int64 `json:"blank_outings"`
	Blocks         int64 `json:"blocks"`
	FinishedBlocks int64 `json:"finished_blocks"`
	NotLogged      int64 `json:"not_logged"`
	Deviations     int64 `json:"deviations"`
	LateNoted      int64 `json:"late_noted"`
}
