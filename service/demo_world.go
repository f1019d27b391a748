package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"evenrig/service/trial"
)

// The demo's world is invented: club, waters, people, fish. Only the way fish choose between two flies follows the
// model that the analysis fits, with the pattern and position effects below.
const (
	demoClub      = "Tarnholt Grayling Anglers"
	demoOrganiser = "Ismay Thorolf"
	demoEmail     = "secretary@tarnholt.example"
	demoPassword  = "two flies on one line"
	demoQuestion  = "Does a collar on the nymph take more grayling?"
	demoPattern   = .42 // θ: of 100 fish about 60 take the collared nymph
	demoPosition  = .38 // β: the point fly is seen first
	demoSeed      = 20260905
)

var (
	demoAnglers = []string{
		"Alba Fenwright", "Bodo Karvel", "Cilla Morning", "Dag Ostrander", "Enna Pellow", "Falk Quister", "Greta Sallow",
		"Hanno Tiddy", "Ida Umberly", "Jorun Vask", "Kuno Wetherell", "Lise Yarrowby", "Mirko Zellan", "Nora Ashgill",
	}
	demoWaters = []trial.Water{{Name: "Sillet Beck", WaterType: "freestone stream"}, {Name: "Quarle Water", WaterType: "limestone river"}}
	// demoStart is the day the organiser writes the protocol.
	demoStart = time.Date(2026, 8, 31, 18, 0, 0, 0, time.FixedZone("", 2*60*60))
)

const (
	demoSpecies = "Thymallus thymallus"
	demoTest    = "COLLAR"
	demoControl = "PLAIN"
)

// demoProtocol is the invented club's rule sheet.
func demoProtocol(p trial.Protocol) trial.Protocol {
	p.Title = demoQuestion
	p.Question = "Does a soft partridge collar on a size 14 hare's ear nymph change the share of grayling that take it, when the same nymph without the collar swims on the same line?"
	p.FeatureChanged = "a collar of two turns of partridge hackle behind the bead"
	p.SeasonStart, p.SeasonEnd = "2026-09-01", "2026-10-31"
	p.MaxFish = 700
	p.Patterns = []trial.Pattern{
		{Code: demoTest, Name: "collared hare's ear", Part: trial.Test, Shape: "ring", Colour: "brown"},
		{Code: demoControl, Name: "plain hare's ear", Part: trial.Control, Shape: "dot", Colour: "brown"},
	}
	p.Species = []string{demoSpecies}
	p.MinLengthMM = 150
	p.Waters = demoWaters
	p.Rig.TippetMM = .14
	p.Rig.HookModel, p.Rig.HookSize = "jig hook, black", "14"
	bead := 2.8
	p.Rig.BeadMM = &bead
	p.Rig.TiedBy, p.Rig.Batch = "one tyer, who does not fish the trial", "batch 1"
	p.Welfare.CautionC, p.Welfare.StopC = 15, 20
	p.Welfare.Cautions = trial.Cautions(15, 20)
	p.Welfare.LocalRules = "Two flies are allowed on both waters; the season for grayling opens on 1 September. The owners' rules hang in the hut."
	p.Welfare.ReportLine = "The number on the board in the hut."
	return p
}

// demoFish is one fish as it happens, before anybody has written it down.
type demoFish struct {
	at       time.Time
	tookTest bool
	outcome  trial.Outcome
	foul     bool
	unsure   bool
	species  string
	cm       float64
}

// demoAngler is how an invented angler differs from the others: in what the fish make of his two flies (u, v), and in
// how many he catches an hour.
type demoAngler struct {
	u, v, perHour float64
	rng           *rand.Rand
}

func newDemoAngler(i int) *demoAngler {
	rng := rand.New(rand.NewPCG(demoSeed, uint64(i)))
	return &demoAngler{u: .25 * rng.NormFloat64(), v: .2 * rng.NormFloat64(), perHour: 2.6 * math.Exp(.3*rng.NormFloat64()), rng: rng}
}

// after returns the next fish after t in arrangement a.
func (d *demoAngler) after(t time.Time, a trial.Arrangement) demoFish {
	wait := time.Duration(d.rng.ExpFloat64() / d.perHour * float64(time.Hour))
	logit := demoPattern + d.u + (demoPosition+d.v)*float64(a.Sign())
	f := demoFish{
		at: t.Add(wait.Truncate(time.Second) + time.Second), tookTest: d.rng.Float64() < 1/(1+math.Exp(-logit)),
		outcome: trial.Landed, species: demoSpecies, cm: math.Round((26+6*d.rng.NormFloat64())*2) / 2,
	}
	f.cm = math.Min(math.Max(f.cm, 12), 48)
	switch x := d.rng.Float64(); {
	case x < .06:
		f.outcome = trial.Lost
	case x < .08:
		f.foul = true
	case x < .12:
		f.unsure = true
	case x < .15:
		f.species = "Salmo trutta"
	}
	return f
}

// demoID makes a UUID of version 7 with t's time, as a phone would.
func demoID(rng *rand.Rand, t time.Time) trial.ID {
	var id trial.ID
	ms := uint64(t.UnixMilli())
	for i := range 6 {
		id[i] = byte(ms >> (40 - 8*i))
	}
	for i := 6; i < 16; i++ {
		id[i] = byte(rng.UintN(256))
	}
	id[6] = id[6]&0x0f | 0x70
	id[8] = id[8]&0x3f | 0x80
	return id
}

// demoRandomID makes a UUID of version 4, which tells nothing.
func demoRandomID(rng *rand.Rand) (id trial.ID) {
	for i := range id {
		id[i] = byte(rng.UintN(256))
	}
	id[6] = id[6]&0x0f | 0x40
	id[8] = id[8]&0x3f | 0x80
	return id
}

// demoDay is the day of an angler's n-th outing: a weekend or an evening in the week, spread over the season.
func demoDay(angler, n int) time.Time {
	return demoStart.AddDate(0, 0, 4+9*n+angler%7).Add(-10*time.Hour + time.Duration(angler*7%40)*time.Minute)
}

func plural(n int, one, many string) string {
	if n == 1 {
		return fmt.Sprintf("%d %s", n, one)
	}
	return fmt.Sprintf("%d %s", n, many)
}
