package trial_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

const why = "three weeks of flood"

// Which parts of a rule sheet may change after the start: CONSORT 2025 asks that changes be reported with their reasons; that none
// touches outcome, size, stopping, randomisation or eligibility is common practice for a confirmatory trial.
func TestWhatMayBeAmended(t *testing.T) {
	fish, minutes := 3, 60
	for name, c := range map[string]struct {
		change  func(p *trial.Protocol)
		refused []string // fields named; none: accepted
	}{
		"later end":     {func(p *trial.Protocol) { p.SeasonEnd = "2026-12-15" }, nil},
		"earlier end":   {func(p *trial.Protocol) { p.SeasonEnd = "2026-10-15" }, nil},
		"fewer anglers": {func(p *trial.Protocol) { p.MinAnglers = 3 }, nil},
		"another water": {func(p *trial.Protocol) {
			p.Waters = append(p.Waters, trial.Water{Name: "Long Pool", WaterType: "stillwater"})
		}, nil},
		"waters turned":      {func(p *trial.Protocol) { slices.Reverse(p.Waters) }, nil},
		"a water less":       {func(p *trial.Protocol) { p.Waters = p.Waters[:1] }, []string{"protocol.waters"}},
		"a water's kind":     {func(p *trial.Protocol) { p.Waters[0].WaterType = "canal" }, []string{"protocol.waters"}},
		"a water's name":     {func(p *trial.Protocol) { p.Waters[1].Name = "Mill Pool" }, []string{"protocol.waters"}},
		"coarser places":     {func(p *trial.Protocol) { p.PlaceGrid = trial.NoGrid }, nil},
		"finer places":       {func(p *trial.Protocol) { p.PlaceGrid = trial.Grid1Kilo }, []string{"protocol.place_grid"}},
		"stop sooner":        {func(p *trial.Protocol) { p.Welfare.StopC = 19 }, nil},
		"care sooner":        {func(p *trial.Protocol) { p.Welfare.CautionC = 15 }, nil},
		"stop later":         {func(p *trial.Protocol) { p.Welfare.StopC = 22 }, []string{"protocol.welfare.stop_c"}},
		"care later":         {func(p *trial.Protocol) { p.Welfare.CautionC = 19 }, []string{"protocol.welfare.caution_c"}},
		"local rules":        {func(p *trial.Protocol) { p.Welfare.LocalRules = "No fishing from the bridge." }, nil},
		"report line":        {func(p *trial.Protocol) { p.Welfare.ReportLine = "the water warden" }, nil},
		"cautions":           {func(p *trial.Protocol) { p.Welfare.Cautions = p.Welfare.Cautions[1:] }, nil},
		"longer outings":     {func(p *trial.Protocol) { p.OutingLimits.MaxMinutes = 600 }, nil},
		"shorter outings":    {func(p *trial.Protocol) { p.OutingLimits.MinMinutes = 30 }, nil},
		"late limit":         {func(p *trial.Protocol) { p.OutingLimits.LateLimitH = 24 }, []string{"protocol.outing_limits.late_limit_h"}},
		"more fish":          {func(p *trial.Protocol) { p.MaxFish = 900 }, []string{"protocol.max_fish"}},
		"another species":    {func(p *trial.Protocol) { p.Species = append(p.Species, "Salmo trutta") }, []string{"protocol.species"}},
		"shorter fish":       {func(p *trial.Protocol) { p.MinLengthMM = 100 }, []string{"protocol.min_length_mm"}},
		"swap rule":          {func(p *trial.Protocol) { p.Swap.AfterFish, p.Swap.AfterMinutes = &fish, &minutes }, []string{"protocol.swap.after_fish", "protocol.swap.after_minutes"}},
		"draw":               {func(p *trial.Protocol) { p.Draw.Method, p.Draw.GroupSizes = trial.CoinPerBlock, nil }, []string{"protocol.draw.group_sizes", "protocol.draw.method"}},
		"rounds carried":     {func(p *trial.Protocol) { p.Draw.TripUnits = 16 }, []string{"protocol.draw.trip_units"}},
		"a pattern's name":   {func(p *trial.Protocol) { p.Patterns[0].Name = "collar" }, []string{"protocol.patterns"}},
		"the yardsticks":     {func(p *trial.Protocol) { p.Alpha, p.SmallestShare, p.Power = .1, 55, .9 }, []string{"protocol.alpha", "protocol.power", "protocol.smallest_share"}},
		"when to stop":       {func(p *trial.Protocol) { p.Stopping, p.EvidenceOpen = trial.Anytime, true }, []string{"protocol.evidence_open", "protocol.stopping"}},
		"planned looks":      {func(p *trial.Protocol) { p.Looks = &trial.Looks{} }, []string{"protocol.looks.futility", "protocol.looks.method", "protocol.looks.planned", "protocol.looks.spending"}},
		"subgroups":          {func(p *trial.Protocol) { p.Subgroups = []string{"origin"} }, []string{"protocol.subgroups"}},
		"the hook":           {func(p *trial.Protocol) { p.Rig.HookSize = "16" }, []string{"protocol.rig.hook_size"}},
		"the question":       {func(p *trial.Protocol) { p.Question += " And how much?" }, []string{"protocol.question"}},
		"nothing":            {func(*trial.Protocol) {}, []string{"protocol"}},
		"good and bad":       {func(p *trial.Protocol) { p.SeasonEnd, p.Alpha = "2026-12-15", .1 }, []string{"protocol.alpha"}},
		"a fault of its own": {func(p *trial.Protocol) { p.SeasonEnd = "2026-08-15" }, []string{"season_end"}},
	} {
		t.Run(name, func(t *testing.T) {
			was, is := complete(), complete()
			was.PlaceGrid, is.PlaceGrid = trial.Grid10Kilo, trial.Grid10Kilo
			c.change(&is)
			changes, err := was.Amends(is, why)
			wantFaults(t, err, c.refused...)
			if (len(changes) > 0) != (err == nil) {
				t.Errorf("%d changes with error %v", len(changes), err)
			}
		})
	}
	is := complete()
	is.SeasonEnd = "2026-12-15"
	if _, err := complete().Amends(is, "flood"); err == nil {
		t.Error("amended without a reason that says anything")
	}
	changes, err := complete().Amends(is, why)
	want := []trial.ProtocolChange{{Field: "season_end", Old: json.RawMessage(`"2026-11-30"`), New: json.RawMessage(`"2026-12-15"`)}}
	if err != nil || !reflect.DeepEqual(changes, want) {
		t.Errorf("changes %s (%v), want %s", changes, err, want)
	}
}

// Every field of a rule sheet stands in the table of what may be amended: none falls under "it was registered" unnoticed. Each is
// found in the type itself, so that a new one is noticed.
func TestEveryFieldIsSettled(t *testing.T) {
	var walk func(at string, v reflect.Value)
	n := 0
	p := complete()
	p.Looks = &trial.Looks{}
	walk = func(at string, v reflect.Value) {
		for i := range v.NumField() {
			name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
			path, field := strings.TrimPrefix(at+"."+name, "."), reflect.Indirect(v.Field(i))
			if field.IsValid() && field.Kind() == reflect.Struct && field.Type() != reflect.TypeFor[trial.ID]() {
				walk(path, field)
				continue
			}
			n++
			if said := trial.FieldSettled(path); said == "" {
				t.Errorf("%s is in no row of the table of what may be amended", path)
			}
		}
	}
	walk("", reflect.ValueOf(p))
	if n < 50 {
		t.Errorf("only %d fields were found", n)
	}
}

// Whatever may be amended, every fish stays what it was: any version counts alike, but for the kind of a water that was added.
func TestEveryVersionCountsAlike(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		was, is := complete(), complete()
		was.PlaceGrid, is.PlaceGrid = trial.Grid1Kilo, rapid.SampledFrom([]string{trial.Grid1Kilo, trial.Grid10Kilo, trial.NoGrid}).Draw(rt, "grid")
		is.SeasonEnd = rapid.SampledFrom([]string{"2026-09-12", "2026-11-30", "2027-05-01"}).Draw(rt, "end")
		is.MinAnglers = rapid.IntRange(1, 20).Draw(rt, "anglers")
		is.Welfare.StopC = rapid.SampledFrom([]float64{18, 19, 20}).Draw(rt, "stop")
		is.OutingLimits.MaxMinutes = rapid.IntRange(60, 720).Draw(rt, "minutes")
		is.Waters = append(is.Waters, trial.Water{Name: "Long Pool", WaterType: "stillwater"})
		if _, err := was.Amends(is, why); err != nil {
			rt.Fatal(err)
		}
		r := anglersRecords(rt)
		before, effort := r.Count(was)
		after, effortAfter := r.Count(is)
		wantSameTallies(rt, after, before)
		if effort != effortAfter {
			rt.Errorf("effort %+v, then %+v", effort, effortAfter)
		}
	})
}

func TestWhenTheRuleSheetIsAmended(t *testing.T) {
	for _, state := range []trial.State{trial.Draft, trial.Registered, trial.Open, trial.Paused, trial.Closed, trial.Locked, trial.Published, trial.Abandoned} {
		may := state == trial.Registered || state == trial.Open || state == trial.Paused
		err := trial.Trial{State: state}.Amendable()
		if (err == nil) != may {
			t.Errorf("%s: %v", state, err)
		}
		if err != nil {
			wantKind(t, err, trial.Conflict, "trial.state")
		}
	}
}

// A phone that carried an older version may say so, one that knows a version that there is not yet may not.
func TestVersionThatAPhoneCarries(t *testing.T) {
	now := trial.Trial{ProtocolVersion: 3}
	for sent, want := range map[int]int{0: 3, 1: 1, 2: 2, 3: 3, 4: 0, -1: 0} {
		got, err := now.VersionSent(sent)
		if want == 0 {
			wantFaults(t, err, "protocol_version")
		} else if err != nil || got != want {
			t.Errorf("sent %d: %d, %v, want %d", sent, got, err, want)
		}
	}
	var e *trial.Error
	if _, err := now.VersionSent(9); !errors.As(err, &e) || !strings.Contains(fmt.Sprint(err), "1 to 3") {
		t.Errorf("the fault does not say what is accepted: %v", err)
	}
}
