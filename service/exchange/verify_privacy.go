package exchange

import (
	"slices"

	"evenrig/service/trial"
)

// sharers counts which anglers share what is shown of place, time and species.
type sharers struct {
	shown  map[trial.Base]map[string]bool // by cell, week and species, alone or together; Angler is empty
	weeks  map[string]map[string]bool     // in which somebody fished
	others map[string]bool                // weeks that stand beside other records
}

func (s *sharers) note(angler string, b trial.Base) {
	if s.shown[b] == nil {
		s.shown[b] = map[string]bool{}
	}
	s.shown[b][angler] = true
}

func (s *sharers) add(a publishedAngler) {
	if s.shown == nil {
		*s = sharers{map[trial.Base]map[string]bool{}, map[string]map[string]bool{}, map[string]bool{}}
	}
	fished := func(week string) {
		if week == "" {
			return
		}
		if s.weeks[week] == nil {
			s.weeks[week] = map[string]bool{}
		}
		s.weeks[week][a.Pseudonym] = true
	}
	outings := map[trial.ID]trial.Base{}
	for _, o := range a.outings {
		outings[o.ID] = trial.Base{Cell: o.Cell, Week: o.Week}
		fished(o.Week)
		if o.Cell != "" {
			s.note(a.Pseudonym, outings[o.ID])
		}
	}
	for _, p := range a.periods {
		fished(p.Week)
	}
	for _, c := range a.fish {
		fished(c.Week)
		if c.Week != "" && c.Species != "" {
			fish := at(outings[c.Outing], c.Week)
			fish.Species = c.Species
			s.note(a.Pseudonym, fish)
		}
	}
	for _, u := range a.units {
		s.others[u.Fetched], s.others[u.Opened], s.others[u.Fished] = true, true, true
	}
	for _, d := range a.deviations {
		s.others[d.Week] = true
	}
}

// privacy holds what is shown against the rule that three anglers share it.
func (v *verifier) privacy() error {
	for b, anglers := range v.sharers.shown {
		if len(anglers) < trial.FewestShown {
			v.found.differs(partPrivacy, "cell %q, week %q, species %q are shown of %d anglers; fewer than %d give away whose rows they are", b.Cell, b.Week, b.Species, len(anglers), trial.FewestShown)
		}
	}
	for week, anglers := range v.sharers.weeks {
		if len(anglers) < trial.FewestShown {
			v.found.differs(partPrivacy, "week %s is shown of %d anglers; fewer than %d give away whose rows they are", week, len(anglers), trial.FewestShown)
		}
	}
	for week := range v.sharers.others {
		if week != "" && len(v.sharers.weeks[week]) < trial.FewestShown {
			v.found.differs(partPrivacy, "week %s stands beside a unit or a report, and fewer than %d anglers are shown to have fished in it", week, trial.FewestShown)
		}
	}
	slices.Sort(v.found.at(partPrivacy).faults)
	v.found.agrees(partPrivacy, "No cell, week or species is shown that fewer than %d anglers share.", trial.FewestShown)
	if v.Facts.Withheld > 0 {
		v.found.untold(partPrivacy, "The rows of %d of %d anglers are left out; whether they or their organiser wished it so cannot be told.", v.Facts.Withheld, v.Facts.Enrolled)
	}
	return nil
}
