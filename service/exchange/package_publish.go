package exchange

import (
	"crypto/sha256"
	"maps"
	"slices"
	"strings"

	"evenrig/service/trial"
)

// Publish makes the package of a locked trial whose closing analysis is done. It reads Source.Anglers once itself and once for every
// long table of the package, later, when that is read.
//
// Left out are the rows of anglers who did not agree to open publication (see trial.Withheld), and in the others' what fewer than three
// share (see trial.Suppression). Where nothing had to be left out, Result is the closing analysis's, byte for byte; else it is computed
// here, from the counts that may be shown, so that no table tells what another hides: what was left out of the rows is not known to
// drift and subgroups either, and an angler who is left out counts in the pooled numbers and in no row.
//
// Errors: trial.Conflict where the trial is not ready or too few anglers would be left out, trial.Invalid for an unknown licence, the
// Source's own.
func Publish(src Source, o Publishing) (Package, error) {
	if _, err := licenceOf(o.Licence); err != nil {
		return Package{}, err
	}
	if src.Trial.State != trial.Locked && src.Trial.State != trial.Published {
		return Package{}, trial.Fail(trial.Conflict, "trial.state", "the trial is %s; it is published once it is locked", src.Trial.State)
	}
	if src.Closing.State != trial.Done {
		return Package{}, trial.Fail(trial.Conflict, "publish.no_result", "the closing analysis is not done; the trial is published with its result")
	}
	p := &publisher{Source: src, order: o}
	if err := p.survey(); err != nil {
		return Package{}, err
	}
	return p.publish()
}

// publisher makes a package.
type publisher struct {
	Source
	order Publishing

	plan        trial.Protocol // as it may be published
	namesTaken  bool           // names of people were taken out of the plan
	moves       map[trial.ID][]trial.CheckpointMove
	cut         map[trial.ID]int64 // entries of each chain that belong to what was analysed
	wanted      []int64            // checkpoints of which heads may be told
	publicly    map[int64]bool     // those of them that everybody knows of
	heads       map[int64][]trial.Head
	withheld    map[string]bool
	shownChains []trial.ID
	published   map[trial.ID]bool // enrolments
	suppression trial.Suppression
	hides       bool                  // something of the rows is suppressed
	outings     map[string]trial.Base // cell and week of each, by label
}

// survey reads all records once.
func (p *publisher) survey() error {
	p.plan = p.Protocol.Published()
	shown := p.plan.WithoutPeople(p.People)
	p.namesTaken = !sameProtocol(shown, p.plan)
	p.plan = shown
	p.wanted, p.publicly = p.checkpointsTold()
	p.heads = map[int64][]trial.Head{}
	p.moves = p.movesByChain()
	p.cut = p.headsAt(p.Closing.Checkpoint)
	p.noteHeads(p.Trial.ID, p.Organisers)

	p.outings = map[string]trial.Base{}
	var shares []trial.Share
	bases := map[string][]trial.Base{}
	chains := map[string]trial.ID{}
	for a, err := range p.Anglers {
		if err != nil {
			return err
		}
		e := a.Records.Enrolment
		if e.ChainID != p.Trial.ID {
			p.noteHeads(e.ChainID, a.Chain)
		}
		if e.ErasedAt != nil {
			continue
		}
		records := p.upToLock(a)
		n := len(records.Outings) + len(records.Units) + len(records.Periods) + len(records.Deviations) + len(records.Catches)
		shares = append(shares, trial.Share{Pseudonym: e.Pseudonym, Open: p.agrees(e), Records: n})
		bases[e.Pseudonym], chains[e.Pseudonym] = basesOf(records), e.ChainID
		for _, o := range records.Outings {
			p.outings[label(o.ID)] = placeOf(e, o)
		}
	}
	var err error
	if p.withheld, err = trial.Withheld(shares); err != nil {
		return err
	}
	var rows []trial.Base
	for pseudonym, of := range bases {
		if !p.withheld[pseudonym] {
			rows = append(rows, of...)
			p.shownChains = append(p.shownChains, chains[pseudonym])
		}
	}
	p.suppression = trial.NewSuppression(rows)
	p.hides = slices.ContainsFunc(rows, func(b trial.Base) bool {
		cell, week := p.suppression.Place(b.Cell, b.Week)
		return cell != b.Cell || week != b.Week || b.Species != "" && p.suppression.Species(b.Cell, b.Week, b.Species) == ""
	})
	return nil
}

// agrees reports whether the angler lets the records be published. Anglers of an imported table are pseudonyms of its organiser's,
// who answers for them.
func (p *publisher) agrees(e trial.Enrolment) bool {
	return e.Consent.PublishOpen || p.Trial.Source == trial.Recorded
}

// basesOf lists what an angler's outings and fish share with others', each once.
func basesOf(r trial.Records) []trial.Base {
	seen := map[trial.Base]bool{}
	note := func(b trial.Base) {
		if b.Angler = r.Enrolment.Pseudonym; b.Week != "" { // what is not known is not hidden
			seen[b] = true
		}
	}
	places, outings := map[trial.ID]trial.Base{}, map[trial.ID]trial.ID{}
	for _, o := range r.Outings {
		places[o.ID] = placeOf(r.Enrolment, o)
		note(places[o.ID])
	}
	for _, period := range r.Periods {
		outings[period.ID] = period.OutingID
		note(at(places[period.OutingID], weekOf(period.StartedAt)))
	}
	for _, c := range r.Catches {
		fish := at(places[outings[c.PeriodID]], weekOf(c.CaughtAt))
		fish.Species = c.Species
		note(fish)
	}
	list := make([]trial.Base, 0, len(seen))
	for b := range seen {
		list = append(list, b)
	}
	return list
}

// placeOf is an outing's cell, where the angler still agrees that places are kept, and its week.
func placeOf(e trial.Enrolment, o trial.Outing) trial.Base {
	b := trial.Base{Week: weekOf(o.StartedAt)}
	if e.Consent.PlaceCoarse {
		b.Cell = o.Cell
	}
	return b
}

// at is the place of something of an outing in the given week. What an outing that went on into another week has there is of no cell.
func at(outing trial.Base, week string) trial.Base {
	if week != outing.Week {
		return trial.Base{Week: week}
	}
	return outing
}

// publish puts the package together.
func (p *publisher) publish() (Package, error) {
	plan, err := canonicalProtocol(p.plan)
	if err != nil {
		return Package{}, err
	}
	pkg := Package{Plan: plan, Checkpoints: p.checkpoints(), Heads: p.headRows()}
	if err := p.result(&pkg); err != nil {
		return Package{}, err
	}
	if pkg.Facts, err = p.facts(); err != nil {
		return Package{}, err
	}
	if pkg.Flow, err = p.flow(); err != nil {
		return Package{}, err
	}
	if pkg.Versions, err = p.versions(); err != nil {
		return Package{}, err
	}
	if pkg.Anglers, err = p.anglers(); err != nil {
		return Package{}, err
	}
	p.texts(&pkg)
	pkg.Outings = tableOf(p, func(a shownAngler) []Outing { return a.outings })
	pkg.Units = tableOf(p, func(a shownAngler) []Unit { return a.units })
	pkg.Periods = tableOf(p, func(a shownAngler) []Period { return a.periods })
	pkg.Deviations = tableOf(p, func(a shownAngler) []Deviation { return a.deviations })
	pkg.Catches = tableOf(p, func(a shownAngler) []Fish { return a.fish })
	pkg.Amendments = tableOf(p, func(a shownAngler) []Amendment { return a.amendments })
	pkg.Ledger = p.ledger()
	return pkg, p.report(&pkg)
}

// tableOf reads all anglers for one table.
func tableOf[T any](p *publisher, rows func(shownAngler) []T) Rows[T] {
	return func(yield func(T, error) bool) {
		for a, err := range p.shown() {
			if err != nil {
				var none T
				yield(none, err)
				return
			}
			for _, row := range rows(a) {
				if !yield(row, nil) {
					return
				}
			}
		}
	}
}

// shown reads the anglers whose rows are published.
func (p *publisher) shown() Rows[shownAngler] {
	return func(yield func(shownAngler, error) bool) {
		for a, err := range p.Anglers {
			if err != nil {
				yield(shownAngler{}, err)
				return
			}
			if e := a.Records.Enrolment; e.ErasedAt != nil || p.withheld[e.Pseudonym] {
				continue
			}
			if !yield(p.show(a), nil) {
				return
			}
		}
	}
}

// ledger is the organiser's chain, then the anglers'.
func (p *publisher) ledger() Rows[Entry] {
	return func(yield func(Entry, error) bool) {
		for _, e := range p.organisersEntries() {
			if !yield(e, nil) {
				return
			}
		}
		for e, err := range tableOf(p, func(a shownAngler) []Entry { return a.entries }) {
			if !yield(e, err) {
				return
			}
		}
	}
}

func (p *publisher) facts() (Facts, error) {
	t, in := p.Trial, p.Closing
	effort, err := p.effort()
	if err != nil {
		return Facts{}, err
	}
	f := Facts{
		Trial: t.ID, Edition: p.order.Edition, Title: oneLineEnd(p.plan.Title), Question: oneLineEnd(p.plan.Question), Club: p.Club,
		Design: p.plan.Design, Source: p.plan.Source, Stopping: p.plan.Stopping, Test: p.plan.Code(trial.Test), Control: p.plan.Code(trial.Control),
		Scheme: t.Scheme, Commitment: t.Commitment, Fingerprint: t.Fingerprint, Checkpoint: in.Checkpoint, RepeatOf: p.RepeatOf, NamesTaken: p.namesTaken,
		Registered: weekOrNone(t.RegisteredAt), Closed: weekOrNone(t.ClosedAt), Locked: weekOrNone(t.LockedAt),
		Enrolled: effort.Enrolled, ErasedAnglers: effort.ErasedAnglers, ErasedFish: effort.ErasedFish,
		Licence: p.order.Licence, ProgramVersion: p.order.ProgramVersion,
	}
	if t.Seed != nil {
		f.Seed = *t.Seed
	}
	for _, withheld := range p.withheld {
		if withheld {
			f.Withheld++
		}
	}
	return f, nil
}

// flow is the closing analysis's flow diagram, every number by its name.
func (p *publisher) flow() ([]FlowCount, error) {
	effort, err := p.effort()
	if err != nil {
		return nil, err
	}
	counts, err := countsOf(effort)
	if err != nil {
		return nil, err
	}
	list := make([]FlowCount, 0, len(counts))
	for _, what := range slices.Sorted(maps.Keys(counts)) {
		list = append(list, FlowCount{what, counts[what]})
	}
	return list, nil
}

func (p *publisher) versions() ([]Version, error) {
	var list []Version
	for _, v := range p.Versions {
		plan, err := canonicalProtocol(v.Protocol.Published().WithoutPeople(p.People))
		if err != nil {
			return nil, err
		}
		list = append(list, Version{
			N: v.N, Week: weekOf(v.At), Fingerprint: sha256.Sum256(v.Canonical), Plan: sha256.Sum256(plan), Fields: v.Fields, Reason: p.text(v.Reason),
		})
	}
	return list, nil
}

func (p *publisher) anglers() ([]Angler, error) {
	p.published = map[trial.ID]bool{}
	var list []Angler
	for a, err := range p.Anglers {
		if err != nil {
			return nil, err
		}
		e := a.Records.Enrolment
		if e.ErasedAt != nil || p.withheld[e.Pseudonym] {
			continue
		}
		p.published[e.ID] = true
		row := Angler{Pseudonym: e.Pseudonym, Consent: consentOpen, Left: e.LeftAt != nil}
		if p.Trial.Source == trial.Drawn {
			row.Enrolment, row.Code = e.ID, e.Code
		}
		list = append(list, row)
	}
	return list, nil
}

// texts fills in what people wrote, without what names somebody or a water.
func (p *publisher) texts(pkg *Package) {
	for i, w := range p.Words {
		pkg.Words = append(pkg.Words, Word{N: i + 1, Word: p.text(w)})
	}
	for _, q := range p.Questions {
		pkg.Questions = append(pkg.Questions, Question{N: q.N, Week: q.Week, Question: p.text(q.Question), Answer: p.text(q.Answer)})
	}
	for i, f := range p.About.Flies {
		pkg.Flies = append(pkg.Flies, FlyPack{
			N: i + 1, Batch: p.text(f.Batch), Hook: p.text(f.Hook), Inspected: p.text(f.Inspected), Issued: f.Issued, Lost: f.Lost, Retied: f.Retied,
		})
	}
	for _, d := range p.Disputes {
		if !p.published[d.EnrolmentID] {
			continue
		}
		row := Dispute{N: len(pkg.Disputes) + 1, Kind: d.Kind, Subject: d.Subject.Public(), Outcome: d.Outcome()}
		for _, made := range d.Decisions {
			if reason := p.text(made.Reason); reason != "" {
				row.Reasons = append(row.Reasons, reason)
			}
		}
		pkg.Disputes = append(pkg.Disputes, row)
	}
	for _, l := range p.Looks {
		pkg.Looks = append(pkg.Looks, Look{
			N: l.N, Checkpoint: l.Checkpoint, Week: weekOf(l.At), Fish: l.Fish, Anglers: l.Anglers, Decision: l.Decision, Withdrawn: l.Withdrawn, Information: l.Information,
			Fraction: l.Fraction, Spent: l.Spent, BoundaryP: l.BoundaryP, P: l.P, LogOdds: l.LogOdds, EValue: l.EValue, ShareLow: l.ShareLow, ShareHigh: l.ShareHigh,
		})
	}
}

// text returns a text that may be published, else nothing.
func (p *publisher) text(s string) string {
	if p.Protocol.Names(s, p.People) {
		return ""
	}
	return oneLineEnd(s)
}

// oneLineEnd writes every line end as one line feed: CSV has one sort.
func oneLineEnd(s string) string {
	return strings.ReplaceAll(strings.ReplaceAll(s, "\r\n", "\n"), "\r", "\n")
}
