package trial

// Tally is a count of like fish: N fish of one angler that agree in everything else listed. It is what the analysis
// reads, whether the fish came from a drawn trial's records or from a catch table.
//
// Angler is a pseudonym (in a catch table: the angler's text). Outing, Block and Period are labels that are unique
// within the angler; an empty Outing means that the day is not known, an empty Block or Period that there is none.
// Arrangement is as fished. Taken is the pattern taken with what is known of position already used. Month is
// "2026-09" and Week "2026-W36" (ISO 8601), both empty when the time is not known.
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
	N           int64       `json:"n"`
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
