package trial

// Protocol is a trial's rule sheet. A registered version never changes. Where a field has a usual value, Template gives
// it; Validate says what is accepted. Shares are percent here (60 means 60 of 100 fish), lengths centimetres or
// millimetres as the field's name says, temperatures degrees Celsius, dates "2026-09-01". Looks is null unless Stopping is
// group_sequential; EvidenceOpen, with anytime only, lets members read the running evidence. RepeatOf is
// the published trial that this one repeats, zero when it repeats none. Funding says who pays and who gives flies or tackle, Conflicts who
// gains from a result, as who sells or tied one of the flies; empty where it is not stated. Nonce is 32 random bytes in hexadecimal that registering adds and
// nobody publishes: without them a short list of waters could be guessed from the fingerprint.
type Protocol struct {
	Title          string    `json:"title"`
	Question       string    `json:"question"`
	FeatureChanged string    `json:"feature_changed"`
	PrimaryOutcome string    `json:"primary_outcome"`
	Direction      string    `json:"direction"`
	SmallestShare  int       `json:"smallest_share"`
	Alpha          float64   `json:"alpha"`
	Power          float64   `json:"power"`
	Design         Design    `json:"design"`
	Source         Source    `json:"source"`
	Stopping       Stopping  `json:"stopping"`
	Looks          *Looks    `json:"looks,omitempty"`
	EvidenceOpen   bool      `json:"evidence_open,omitempty"`
	EndRule        []string  `json:"end_rule"`
	SeasonStart    string    `json:"season_start"`
	SeasonEnd      string    `json:"season_end"`
	MaxFish        int       `json:"max_fish"`
	MinAnglers     int       `json:"min_anglers"`
	Patterns       []Pattern `json:"patterns"`
	LowerWord      string    `json:"lower_word"`
	UpperWord      string    `json:"upper_word"`
	Species        []string  `json:"species"`
	MinLengthMM    int       `json:"min_length_mm"`
	Waters         []Water   `json:"waters"`
	PlaceGrid      string    `json:"place_grid"`
	Subgroups      []string  `json:"subgroups"`
	Rig            Rig       `json:"rig"`
	Draw           Draw      `json:"draw"`
	Swap           Swap      `json:"swap"`
	OutingLimits   Outings   `json:"outing_limits"`
	Welfare        Welfare   `json:"welfare"`
	RepeatOf       ID        `json:"repeat_of,omitzero"`
	Funding        string    `json:"funding,omitempty"`
	Conflicts      string    `json:"conflicts,omitempty"`
	Nonce          string    `json:"nonce,omitempty"`
}

// Pattern is one of the two flies compared. Shape and Colour are what an angler tells the two apart by at the water.
type Pattern struct {
	Code   string `json:"code"`
	Name   string `json:"name"`
	Part   Part   `json:"part"`
	Shape  string `json:"shape"`
	Colour string `json:"colour"`
}

// Water is a place from the organiser's list. Nothing finer than it and the protocol's grid is ever stored.
type Water struct {
	Name      string `json:"name"`
	WaterType string `json:"water_type"`
}

// Rig fixes the line: how far apart the flies hang and everything that the two must share, so that the feature is the
// only difference. The optional numbers are null when the club does not state them.
type Rig struct {
	Flies               int      `json:"flies"`
	SpacingCM           float64  `json:"spacing_cm"`
	SpacingToleranceCM  float64  `json:"spacing_tolerance_cm"`
	DropperMount        string   `json:"dropper_mount"`
	DropperTagCM        float64  `json:"dropper_tag_cm"`
	TippetMM            float64  `json:"tippet_mm"`
	TippetLB            *float64 `json:"tippet_lb"`
	HookModel           string   `json:"hook_model"`
	HookSize            string   `json:"hook_size"`
	Barb                string   `json:"barb"`
	WeightG             *float64 `json:"weight_g"`
	BeadMM              *float64 `json:"bead_mm"`
	WeightAt            string   `json:"weight_at"`
	SpecimensPerPattern int      `json:"specimens_per_pattern"`
	ReplaceAfterFish    int      `json:"replace_after_fish"`
	TiedBy              string   `json:"tied_by"`
	Batch               string   `json:"batch"`
	Presentation        string   `json:"presentation"`
}

// Draw says how chance orders the two arrangements of each block. GroupSizes are the sizes, in blocks, of the groups in
// which permuted_blocks balances the two orders; each group's size is drawn from them. SameFlyCheck is the number of an
// angler's first blocks fished with two control flies, one of them marked as if it were the test pattern.
type Draw struct {
	Method       string `json:"method"`
	GroupSizes   []int  `json:"group_sizes"`
	TripUnits    int    `json:"trip_units"`
	SameFlyCheck int    `json:"same_fly_check"`
	BlockMaySpan bool   `json:"block_may_span_outings"`
}

// Swap is the rule by which a period ends: after so many fish, or so many minutes, whichever comes first. Both are null
// in paired_by_outing, where the outing's end is the swap.
type Swap struct {
	AfterFish     *int   `json:"after_fish"`
	AfterMinutes  *int   `json:"after_minutes"`
	By            string `json:"by"`
	GraceMinutes  int    `json:"grace_minutes"`
	CoolDownCasts int    `json:"cool_down_casts"`
}

// Outings bounds an outing's length (outside is flagged, never refused) and how late a fish may be noted down.
type Outings struct {
	MinMinutes int `json:"min_minutes"`
	MaxMinutes int `json:"max_minutes"`
	LateLimitH int `json:"late_limit_h"`
}

// Welfare holds the water temperatures at which anglers take extra care and at which fishing stops, the cautions shown,
// and the organiser's notes on local rules and on whom to tell of dead or sick fish and of pollution.
type Welfare struct {
	CautionC   float64   `json:"caution_c"`
	StopC      float64   `json:"stop_c"`
	LocalRules string    `json:"local_rules"`
	ReportLine string    `json:"report_line"`
	Cautions   []Caution `json:"cautions"`
}

// The allocation methods.
const (
	CoinPerBlock   = "coin_per_block"
	PermutedBlocks = "permuted_blocks"
)

// The grids to which a place may be kept: not at all, or by cells of 0.1 or 0.01 degree.
const (
	NoGrid     = "none"
	Grid10Kilo = "10km"
	Grid1Kilo  = "1km"
)

// Code returns the code of the pattern that plays the given part.
func (p Protocol) Code(part Part) string {
	for _, pattern := range p.Patterns {
		if pattern.Part == part {
			return pattern.Code
		}
	}
	return ""
}

// PartOf returns the part that the pattern with the given code plays, and whether there is such a pattern.
func (p Protocol) PartOf(code string) (Part, bool) {
	for _, pattern := range p.Patterns {
		if pattern.Code == code {
			return pattern.Part, true
		}
	}
	return "", false
}

// Flies returns the codes of the patterns at the lower and the upper position in the given arrangement.
func (p Protocol) Flies(a Arrangement) (lower, upper string) {
	if a == TestLower {
		return p.Code(Test), p.Code(Control)
	}
	return p.Code(Control), p.Code(Test)
}

// checkWater records a fault unless the name is on the protocol's list of waters.
func (p Protocol) checkWater(f *Faults, name string) {
	names := make([]string, len(p.Waters))
	for i, w := range p.Waters {
		names[i] = w.Name
	}
	OneOf(f, "water", name, names...)
}

// Template is a protocol with every usual value filled in and the rest left to the organiser: it does not validate
// until title, question, feature, patterns, species, waters, season, tippet and hook are given. Grayling are cautioned
// at 15 °C instead of 18 (Pinder et al. 2019, Fisheries Research 211:169-175).
func Template() Protocol {
	fish, minutes := 2, 45
	return Protocol{
		PrimaryOutcome: "landed_fish", Direction: "two_sided", SmallestShare: 60, Alpha: .05, Power: .80,
		Design: Paired, Source: Drawn, Stopping: FixedSize, EndRule: []string{"date", "total_fish"},
		MaxFish: 400, MinAnglers: 6,
		Patterns: []Pattern{{Part: Test}, {Part: Control}}, LowerWord: "point", UpperWord: "dropper",
		Species: []string{}, Waters: []Water{}, PlaceGrid: NoGrid, Subgroups: []string{},
		Rig: Rig{
			Flies: 2, SpacingCM: 20, SpacingToleranceCM: 5, DropperMount: "tag", DropperTagCM: 10, Barb: "barbless",
			WeightAt: "in_fly", SpecimensPerPattern: 3, ReplaceAfterFish: 15, Presentation: "any",
		},
		Draw:         Draw{Method: PermutedBlocks, GroupSizes: []int{2, 4}, TripUnits: 8},
		Swap:         Swap{AfterFish: &fish, AfterMinutes: &minutes, By: "retie", GraceMinutes: 5, CoolDownCasts: 1},
		OutingLimits: Outings{MinMinutes: 60, MaxMinutes: 480, LateLimitH: 72},
		Welfare:      Welfare{CautionC: 18, StopC: 20, Cautions: Cautions(18, 20)},
	}
}
