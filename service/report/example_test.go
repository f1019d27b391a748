package report

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// club makes the tallies of an invented club: anglers with own leanings, fish as the model of the trial has them.
func club(anglers, outings, fish int, theta, beta, spread float64) []trial.Tally {
	random := rand.New(rand.NewPCG(7, uint64(anglers)))
	const letters = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
	var tallies []trial.Tally
	for range anglers {
		name := ""
		for range 6 {
			name += string(letters[random.IntN(len(letters))])
		}
		u, v := spread*random.NormFloat64(), .3*random.NormFloat64()
		for o := range outings {
			for _, arrangement := range []trial.Arrangement{trial.TestLower, trial.ControlLower} {
				counts := map[trial.Taken]int64{}
				for range random.IntN(fish + 1) {
					taken := trial.TookControl
					if random.Float64() < 1/(1+math.Exp(-(theta+u)-(beta+v)*float64(arrangement.Sign()))) {
						taken = trial.TookTest
					}
					counts[taken]++
				}
				for _, taken := range []trial.Taken{trial.TookTest, trial.TookControl} {
					if counts[taken] > 0 {
						tallies = append(tallies, trial.Tally{Angler: name, Outing: fmt.Sprintf("%s-%d", name, o), Arrangement: arrangement, Taken: taken, N: counts[taken]})
					}
				}
			}
		}
	}
	return tallies
}

func excluded(tallies []trial.Tally) []trial.Tally {
	who := tallies[0].Angler
	add := func(reason trial.Exclusion, n int64) {
		tallies = append(tallies, trial.Tally{Angler: who, Outing: who + "-0", Arrangement: trial.TestLower, Taken: trial.TookTest, Exclusion: reason, N: n})
	}
	add(trial.ExcludeLost, 41)
	add(trial.FoulHooked, 6)
	add(trial.NotSure, 9)
	add(trial.Double, 4)
	add(trial.WhileSwapping, 5)
	add(trial.WrongSpecies, 12)
	return tallies
}

func protocol() *trial.Protocol {
	p := trial.Template()
	p.Title = "Orange collar on a hare's ear nymph"
	p.Question = "Does an orange collar on a hare's ear nymph change the share of grayling that take it?"
	p.FeatureChanged = "an orange collar behind the bead"
	p.Patterns = []trial.Pattern{
		{Code: "A", Name: "collared hare's ear", Part: trial.Test, Shape: "ring", Colour: "orange"},
		{Code: "B", Name: "plain hare's ear", Part: trial.Control, Shape: "bare", Colour: "brown"},
	}
	p.Species = []string{"Thymallus thymallus"}
	p.Waters = []trial.Water{{Name: "Wendle, upper beat", WaterType: "freestone_river"}, {Name: "Wendle, mill", WaterType: "chalk_stream"}}
	p.Rig.HookModel, p.Rig.HookSize, p.Rig.TippetMM = "jig 400", "14", .14
	p.Welfare = trial.Welfare{CautionC: 15, StopC: 20, LocalRules: "Both beats are catch and return; two flies at most.", ReportLine: "the number on the back of the permit"}
	return &p
}

func aboutClub() About {
	at := func(month time.Month, d int) time.Time { return time.Date(2026, month, d, 12, 0, 0, 0, time.UTC) }
	return About{
		Club: "Wendle Valley Grayling Circle", Protocol: protocol(), ProtocolVersion: 2,
		ProtocolFingerprint: "75a0a5a19c4b0f2f320ffc9e830024e8321e5514889de3da91a0730ca8f203ba",
		RuleChanges:         []RuleChange{{Version: 2, At: at(9, 20), Reason: "the mill beat was closed after the flood, the lower meadow stands in for it", Fields: []string{"waters"}}},
		Effort:              &trial.Effort{Enrolled: 15, Outings: 61, BlankOutings: 4, Blocks: 214, FinishedBlocks: 171, NotLogged: 3, Deviations: 7, LateNoted: 2},
		Dates:               []Dated{{"Registered", at(8, 28)}, {"First outing", at(9, 5)}, {"Closed", at(11, 30)}, {"Locked", at(12, 4)}},
		Draw: Draw{
			Commitment: "f62e539f097c8d3657204291af43795bac279ee7bf4699f1ab5666b04b18ee67",
			Seed:       "000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f", Words: []string{"heron", "ash", "millrace"}, UnitsByCoin: 2,
		},
		Checkpoint: "9a41c07d5be2", Links: []Link{{"Result as JSON", "result.json"}, {"Catches as CSV", "catches.csv"}, {"Rule sheet", "protocol.json"}},
	}
}

func analysed(t testing.TB, in analysis.Input) analysis.Result {
	t.Helper()
	r, err := analysis.Run(in, analysis.Settings{ProgramVersion: "0.1.0"})
	if err != nil {
		t.Fatalf("run the analysis: %v", err)
	}
	return r
}

func fish(angler, outing string, arrangement trial.Arrangement, taken trial.Taken, n int64) trial.Tally {
	return trial.Tally{Angler: angler, Outing: outing, Arrangement: arrangement, Taken: taken, N: n}
}

// example is a result with what is said about it; anglers is how many rows its figures must have.
type example struct {
	name    string
	result  analysis.Result
	about   About
	anglers int
}

// examples are analysed once for all tests.
func examples(t testing.TB) []example {
	t.Helper()
	made.Do(func() { made.list = makeExamples(t) })
	return made.list
}

var made struct {
	sync.Once
	list []example
}

func makeExamples(t testing.TB) []example {
	t.Helper()
	ab := func(tallies ...trial.Tally) analysis.Input {
		return analysis.Input{Test: "A", Control: "B", Tallies: tallies}
	}
	drawn := ab(excluded(club(14, 4, 6, .6, .5, .9))...)
	drawn.Source = trial.Drawn
	drawn = named(drawn)
	byOuting := ab(club(8, 4, 6, .6, .5, .4)...)
	byOuting.Design = trial.PairedByOuting
	table := season(trial.FixedSize)
	table.Source, table.Draw, table.Plan = trial.Recorded, nil, nil
	planned := analysed(t, named(season(trial.GroupSequential)))
	list := []example{
		{name: "club", result: analysed(t, drawn), about: aboutClub()},
		{name: "planned counts", result: planned, about: aboutSeason(t, planned)},
		{name: "at any time", result: analysed(t, named(season(trial.Anytime))), about: aboutClub()},
		{name: "a table with halves, weeks and species", result: analysed(t, table)},
		{name: "120 anglers", result: analysed(t, ab(club(120, 3, 3, .1, .5, .4)...))},
		{name: "one angler", result: analysed(t, ab(club(1, 4, 6, .4, .5, .4)...)), about: About{Title: "my_catches.csv"}},
		{name: "two anglers", result: analysed(t, ab(club(2, 3, 4, .4, .5, .4)...))},
		{name: "one arrangement per outing", result: analysed(t, byOuting)},
		{name: "no fish", result: analysed(t, ab())},
		{name: "only excluded fish", result: analysed(t, ab(trial.Tally{Angler: "Rowan", Exclusion: trial.NotSure, N: 3}))},
		{name: "one pattern always", result: analysed(t, ab(
			fish("Rowan", "1", trial.TestLower, trial.TookTest, 9), fish("Rowan", "1", trial.ControlLower, trial.TookTest, 7)))},
		{name: "control always, six anglers", result: analysed(t, ab(everybody(6, trial.TookControl)...))},
		{name: "one arrangement", result: analysed(t, ab(
			fish("Rowan", "1", trial.TestLower, trial.TookTest, 5), fish("Bryony", "1", trial.TestLower, trial.TookControl, 4)))},
		{name: "a million fish in a cell", result: analysed(t, ab(
			fish("Rowan", "", trial.TestLower, trial.TookTest, 1_000_000), fish("Rowan", "", trial.ControlLower, trial.TookTest, 999_000),
			fish("Rowan", "", trial.TestLower, trial.TookControl, 1_000_000), fish("Rowan", "", trial.ControlLower, trial.TookControl, 1_000_000)))},
		{name: "nothing at all", result: analysis.Result{}},
	}
	for i := range list {
		list[i].anglers = len(list[i].result.Anglers)
	}
	return list
}

// aboutSeason is aboutClub with all that a trial of today can tell of itself.
func aboutSeason(t testing.TB, r analysis.Result) About {
	t.Helper()
	about := aboutClub()
	at := func(month time.Month, d int) time.Time { return time.Date(2026, month, d, 12, 0, 0, 0, time.UTC) }
	lineup, err := analysis.NewLineup(season(trial.GroupSequential), r.Fingerprint)
	if err != nil || lineup == nil {
		t.Fatalf("no line-up: %v", err)
	}
	about.Lineup = lineup
	random := rand.New(rand.NewPCG(5, 9))
	for _, a := range r.Anglers {
		for i := range 8 {
			h := Half{Angler: a.Angler, Week: "2026-W37", Minutes: 10 + 38*random.Float64(), Fish: random.IntN(3), Ended: "by the rule", ByRule: i%5 != 4}
			if !h.ByRule {
				h.Ended, h.Minutes = "the outing ended", h.Minutes*1.4
			}
			about.Halves = append(about.Halves, h)
		}
	}
	about.Effort = &trial.Effort{Enrolled: 10, Outings: 62, BlankOutings: 5, Blocks: 120, FinishedBlocks: 101, NotLogged: 4, Deviations: 6, LateNoted: 3, ErasedAnglers: 1, ErasedFish: 12}
	about.Questions = []Question{
		{N: 1, Asked: at(12, 6), Text: "Why were two rounds of 12 September fished at one water and not the other?", Answer: "The mill was in flood; the rule change of that day says so."},
		{N: 2, Asked: at(12, 7), Text: "Who weighed the beads?"},
	}
	about.Disputes = []Dispute{
		{What: "a fish", Outcome: "exclude", Reasons: []string{"it took while the angler was changing over", "the swap was being tied"}},
		{What: "an outing", Outcome: "open"},
	}
	about.Withdrawn = []WithdrawnAnalysis{{N: 3, At: at(12, 9), Why: "an angler's records were erased; result 4 stands in its place"}}
	about.Overrides = []Override{{At: at(9, 14), Reason: "the thermometer stood in the sun; a second one read 16 °C"}}
	about.Flies = []FlyPack{{Batch: "Batch 1", TiedBy: "one member", Hook: "jig 400", Inspected: "another member", Issued: 60, Lost: 7, Retied: 3}}
	about.Helpers = Helpers{Guests: 1, TypedByOthers: 14, PaperCards: 3}
	about.Draw.Units, about.Draw.UnitsByPaper, about.Draw.UnitsLost, about.Draw.Slips = 110, 6, 2, "printed by a member who does not fish the trial"
	about.Guesses = []int{70, 40, 85, 60, 55, 60}
	about.Remarks, about.Funding, about.Conflicts = "We fish it again in spring.", "nobody; the club bought the hooks", "none: nobody sells either fly"
	return about
}

// named gives the patterns the names of protocol.
func named(in analysis.Input) analysis.Input {
	in.TestName, in.ControlName = "collared hare's ear", "plain hare's ear"
	return in
}

func everybody(anglers int, taken trial.Taken) (tallies []trial.Tally) {
	for i := range anglers {
		name := fmt.Sprintf("angler %d", i+1)
		tallies = append(tallies, fish(name, "1", trial.TestLower, taken, 3), fish(name, "1", trial.ControlLower, taken, 4))
	}
	return tallies
}

func render(t testing.TB, r analysis.Result, about About) string {
	t.Helper()
	var b strings.Builder
	if err := HTML(&b, r, about); err != nil {
		t.Fatal(err)
	}
	return b.String()
}
