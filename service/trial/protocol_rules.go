package trial

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

var (
	codeForm    = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_.+-]{0,19}$`)
	hookForm    = regexp.MustCompile(`^([1-9]|[12][0-9]|3[0-2]|1/0)$`)
	speciesForm = regexp.MustCompile(`^[A-Z][a-z-]+ [a-z-]+( [a-z-]+)?$`)
)

// longestSpecies is longer than any fish's scientific name.
const longestSpecies = 80

// Validate returns one Invalid error that names every fault of the protocol, nil when there is none.
func (p Protocol) Validate() error {
	var f Faults
	p.checkQuestion(&f)
	p.checkPatterns(&f)
	p.checkWhere(&f)
	p.checkEnd(&f)
	if p.Source == Recorded {
		p.Rig.checkTexts(&f, 0)
	} else {
		p.Rig.check(&f)
		p.checkDraw(&f)
		p.Swap.check(&f, p.Design)
		p.checkOutings(&f)
	}
	between(&f, "outing_limits.late_limit_h", p.OutingLimits.LateLimitH, 0, 720, "hours")
	p.Welfare.check(&f)
	return f.Err("protocol.invalid", "the protocol has faults")
}

func (p Protocol) checkQuestion(f *Faults) {
	length(f, "title", p.Title, 5, 120)
	length(f, "question", p.Question, 20, 500)
	length(f, "feature_changed", p.FeatureChanged, 3, 200)
	length(f, "funding", p.Funding, 0, 500)
	length(f, "conflicts", p.Conflicts, 0, 500)
	OneOf(f, "primary_outcome", p.PrimaryOutcome, "landed_fish")
	OneOf(f, "direction", p.Direction, "two_sided")
	between(f, "smallest_share", p.SmallestShare, 51, 90, "percent of fish")
	between(f, "alpha", p.Alpha, .001, .2, "")
	between(f, "power", p.Power, .5, .99, "")
	OneOf(f, "design", p.Design, Paired, PairedByOuting)
	OneOf(f, "source", p.Source, Drawn, Recorded)
	p.checkStopping(f)
}

func (p Protocol) checkPatterns(f *Faults) {
	if len(p.Patterns) != 2 {
		f.Add("patterns", "has %d entries; a paired trial compares exactly 2", len(p.Patterns))
		return
	}
	for i, pattern := range p.Patterns {
		at := fmt.Sprintf("patterns[%d].", i)
		switch {
		case !codeForm.MatchString(pattern.Code):
			f.Add(at+"code", "is %q; accepted: 1 to 20 letters, digits, _ . + -, beginning with a letter or digit", pattern.Code)
		case pattern.Code == string(TookUnknown) || pattern.Code == string(TookOther):
			f.Add(at+"code", "is %q, which stands for a fly that is not known or a third fly; accepted: any other code", pattern.Code)
		}
		length(f, at+"name", pattern.Name, 1, 80)
		length(f, at+"shape", pattern.Shape, 0, 40)
		length(f, at+"colour", pattern.Colour, 0, 40)
		OneOf(f, at+"part", pattern.Part, Test, Control)
	}
	if p.Patterns[0].Code == p.Patterns[1].Code {
		f.Add("patterns", "both have the code %q; the two must differ", p.Patterns[0].Code)
	}
	if p.Patterns[0].Part == p.Patterns[1].Part {
		f.Add("patterns", "both play the part %q; one must be test, the other control", p.Patterns[0].Part)
	}
	length(f, "lower_word", p.LowerWord, 1, 30)
	length(f, "upper_word", p.UpperWord, 1, 30)
	if p.LowerWord == p.UpperWord && p.LowerWord != "" {
		f.Add("upper_word", "is %q like lower_word; the two positions need two words", p.UpperWord)
	}
}

func (p Protocol) checkWhere(f *Faults) {
	entries(f, "species", len(p.Species), 1, 20)
	for i, s := range p.Species {
		at := fmt.Sprintf("species[%d]", i)
		if !speciesForm.MatchString(s) || len(s) > longestSpecies {
			f.Add(at, "is %q; accepted: a scientific name like Thymallus thymallus, of at most %d letters", s, longestSpecies)
		}
		if slices.Index(p.Species, s) < i {
			f.Add(at, "%q stands twice", s)
		}
	}
	between(f, "min_length_mm", p.MinLengthMM, 0, 2000, "mm")
	entries(f, "waters", len(p.Waters), 1, 50)
	for i, w := range p.Waters {
		length(f, fmt.Sprintf("waters[%d].name", i), w.Name, 1, 80)
		length(f, fmt.Sprintf("waters[%d].water_type", i), w.WaterType, 1, 40)
		if slices.IndexFunc(p.Waters, func(o Water) bool { return o.Name == w.Name }) < i {
			f.Add(fmt.Sprintf("waters[%d].name", i), "%q stands twice", w.Name)
		}
	}
	OneOf(f, "place_grid", p.PlaceGrid, NoGrid, Grid10Kilo, Grid1Kilo)
	entries(f, "subgroups", len(p.Subgroups), 0, 3)
	for i, s := range p.Subgroups {
		at := fmt.Sprintf("subgroups[%d]", i)
		if p.Source == Recorded {
			length(f, at, s, 1, 200) // any column of the table
		} else {
			OneOf(f, at, s, "species", "origin", "water_type", "month")
		}
		if slices.Index(p.Subgroups, s) < i {
			f.Add(at, "%q stands twice", s)
		}
	}
}

func (p Protocol) checkEnd(f *Faults) {
	start, startErr := time.Parse(time.DateOnly, p.SeasonStart)
	if startErr != nil {
		f.Add("season_start", "is %q; accepted: a date like 2026-09-01", p.SeasonStart)
	}
	end, endErr := time.Parse(time.DateOnly, p.SeasonEnd)
	if endErr != nil {
		f.Add("season_end", "is %q; accepted: a date like 2026-11-30", p.SeasonEnd)
	}
	if startErr == nil && endErr == nil && end.Before(start) {
		f.Add("season_end", "%s is before season_start %s", p.SeasonEnd, p.SeasonStart)
	}
	entries(f, "end_rule", len(p.EndRule), 1, 2)
	for i, r := range p.EndRule {
		at := fmt.Sprintf("end_rule[%d]", i)
		OneOf(f, at, r, "date", "total_fish")
		if slices.Index(p.EndRule, r) < i {
			f.Add(at, "%q stands twice", r)
		}
	}
	between(f, "max_fish", p.MaxFish, 1, 1_000_000, "fish")
	between(f, "min_anglers", p.MinAnglers, 1, 10_000, "anglers")
}

func (r Rig) check(f *Faults) {
	if r.Flies != 2 {
		f.Add("rig.flies", "is %d; a paired trial fishes exactly 2", r.Flies)
	}
	between(f, "rig.spacing_cm", r.SpacingCM, 5, 300, "cm")
	between(f, "rig.spacing_tolerance_cm", r.SpacingToleranceCM, 0, 20, "cm")
	OneOf(f, "rig.dropper_mount", r.DropperMount, "tag", "bend", "loop", "in_line")
	if r.DropperMount == "tag" || r.DropperMount == "loop" {
		between(f, "rig.dropper_tag_cm", r.DropperTagCM, 2, 30, "cm")
	}
	between(f, "rig.tippet_mm", r.TippetMM, .08, .60, "mm")
	optional(f, "rig.tippet_lb", r.TippetLB, .5, 40, "lb")
	r.checkTexts(f, 1)
	if !hookForm.MatchString(r.HookSize) {
		f.Add("rig.hook_size", "is %q; accepted: 1/0 or a whole number from 1 to 32", r.HookSize)
	}
	OneOf(f, "rig.barb", r.Barb, "barbless", "pinched", "barbed")
	optional(f, "rig.weight_g", r.WeightG, 0, 10, "g")
	optional(f, "rig.bead_mm", r.BeadMM, 0, 8, "mm")
	OneOf(f, "rig.weight_at", r.WeightAt, "in_fly", "on_line", "below_flies")
	between(f, "rig.specimens_per_pattern", r.SpecimensPerPattern, 1, 20, "flies")
	between(f, "rig.replace_after_fish", r.ReplaceAfterFish, 1, 200, "fish")
	OneOf(f, "rig.presentation", r.Presentation, "upstream", "across", "downstream", "still", "any")
}

// checkTexts checks the free texts of the rig; a recorded trial need not state them.
func (r Rig) checkTexts(f *Faults, least int) {
	length(f, "rig.hook_model", r.HookModel, least, 80)
	length(f, "rig.tied_by", r.TiedBy, 0, 80)
	length(f, "rig.batch", r.Batch, 0, 80)
}

func (p Protocol) checkDraw(f *Faults) {
	d := p.Draw
	OneOf(f, "draw.method", d.Method, CoinPerBlock, PermutedBlocks)
	switch {
	case d.Method == CoinPerBlock && len(d.GroupSizes) > 0:
		f.Add("draw.group_sizes", "is given; a coin per block has no groups, leave it empty")
	case d.Method == PermutedBlocks && len(d.GroupSizes) == 0:
		f.Add("draw.group_sizes", "is empty; accepted: one or more of 2, 4, 6")
	}
	for i, size := range d.GroupSizes {
		if size != 2 && size != 4 && size != 6 {
			f.Add(fmt.Sprintf("draw.group_sizes[%d]", i), "is %d; accepted: 2, 4, 6", size)
		}
		if slices.Index(d.GroupSizes, size) < i {
			f.Add(fmt.Sprintf("draw.group_sizes[%d]", i), "%d stands twice", size)
		}
	}
	between(f, "draw.trip_units", d.TripUnits, 1, 16, "units")
	between(f, "draw.same_fly_check", d.SameFlyCheck, 0, 20, "blocks")
}

func (s Swap) check(f *Faults, d Design) {
	switch {
	case d == PairedByOuting && (s.AfterFish != nil || s.AfterMinutes != nil):
		f.Add("swap", "after_fish and after_minutes must be null in paired_by_outing: the arrangement changes with the outing")
	case d == Paired && s.AfterFish == nil && s.AfterMinutes == nil:
		f.Add("swap", "needs after_fish (1 to 20), after_minutes (5 to 180) or both, whichever comes first")
	}
	if s.AfterFish != nil {
		between(f, "swap.after_fish", *s.AfterFish, 1, 20, "fish")
	}
	if s.AfterMinutes != nil {
		between(f, "swap.after_minutes", *s.AfterMinutes, 5, 180, "minutes")
	}
	OneOf(f, "swap.by", s.By, "retie", "spare_cast")
	between(f, "swap.grace_minutes", s.GraceMinutes, 0, 15, "minutes")
	between(f, "swap.cool_down_casts", s.CoolDownCasts, 0, 5, "casts")
}

func (p Protocol) checkOutings(f *Faults) {
	o := p.OutingLimits
	between(f, "outing_limits.min_minutes", o.MinMinutes, 15, 720, "minutes")
	between(f, "outing_limits.max_minutes", o.MaxMinutes, 15, 720, "minutes")
	if o.MaxMinutes < o.MinMinutes {
		f.Add("outing_limits.max_minutes", "%d is below min_minutes %d", o.MaxMinutes, o.MinMinutes)
	}
}

func (w Welfare) check(f *Faults) {
	between(f, "welfare.caution_c", w.CautionC, 10, 25, "degrees C")
	between(f, "welfare.stop_c", w.StopC, 10, 25, "degrees C")
	if w.StopC < w.CautionC {
		f.Add("welfare.stop_c", "%g is below caution_c %g", w.StopC, w.CautionC)
	}
	length(f, "welfare.local_rules", w.LocalRules, 0, 2000)
	length(f, "welfare.report_line", w.ReportLine, 0, 500)
	entries(f, "welfare.cautions", len(w.Cautions), 0, 30)
	for i, c := range w.Cautions {
		length(f, fmt.Sprintf("welfare.cautions[%d].topic", i), c.Topic, 1, 60)
		length(f, fmt.Sprintf("welfare.cautions[%d].text", i), c.Text, 1, 1000)
		length(f, fmt.Sprintf("welfare.cautions[%d].source", i), c.Source, 0, 300)
	}
}

// between records a fault unless low <= v <= high; NaN is a fault.
func between[T int | float64](f *Faults, field string, v, low, high T, unit string) {
	if !(v >= low && v <= high) {
		if unit != "" {
			unit = " " + unit
		}
		f.Add(field, "is %v; accepted: %v to %v%s", v, low, high, unit)
	}
}

// entries records a fault unless a list has low to high entries.
func entries(f *Faults, field string, n, low, high int) {
	if n < low || n > high {
		f.Add(field, "has %d entries; accepted: %d to %d", n, low, high)
	}
}

func optional(f *Faults, field string, v *float64, low, high float64, unit string) {
	if v != nil {
		between(f, field, *v, low, high, unit)
	}
}

// length records a fault unless s is valid UTF-8 without control characters (but for line breaks and tabs) of low to
// high characters; blanks at either end do not help a short text.
func length(f *Faults, field, s string, low, high int) {
	n := utf8.RuneCountInString(s)
	switch {
	case !utf8.ValidString(s) || strings.ContainsFunc(s, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' }):
		f.Add(field, "has control characters or is not valid UTF-8; accepted: %d to %d characters of plain text", low, high)
	case utf8.RuneCountInString(strings.TrimSpace(s)) < low || n > high:
		f.Add(field, "has %d characters; accepted: %d to %d", n, low, high)
	}
}
