package conduct

import (
	"context"
	"strconv"
	"time"

	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// importChunk is how many fish of a table are written at a time.
const importChunk = 1000

// importer turns a table's rows into records. Ids are derived from the server's key and what the row says, so that the
// same angler, outing and period are met again in another file, while every fish of a file is its own.
type importer struct {
	service    *Service
	trial      trial.ID
	protocol   *trial.Protocol
	file       string // its digest
	further    []string
	now        time.Time
	by         trial.ID
	pseudonyms []string // for anglers that are new

	anglers map[trial.ID]struct{} // all that the table named so far
	chunk   trial.TableRecords
	held    map[trial.ID]struct{} // outings and periods of the chunk
	last    place
}

// place is where a fish was caught, and by whom, with the ids that follow: in a table in order mostly the same as the fish before.
type place struct {
	angler, outing, block, period, lower string
	enrolmentID, outingID, periodID      trial.ID
}

// write writes the rows, a chunk at a time; while one is being written the next is made. An outing or period whose rows are scattered
// over the table is written with each chunk that names it; only the first time counts.
func (im *importer) write(ctx context.Context, tx trial.Tx, rows exchange.Rows[exchange.Row]) error {
	chunks := make(chan trial.TableRecords)
	making, stop := context.WithCancel(ctx)
	defer stop()
	var failed error
	go func() {
		defer close(chunks)
		failed = im.chunks(rows, func(chunk trial.TableRecords) error {
			select {
			case chunks <- chunk:
				return nil
			case <-making.Done():
				return making.Err()
			}
		})
	}()
	for chunk := range chunks {
		if err := tx.InsertRecorded(ctx, chunk); err != nil {
			stop()
			for range chunks { //nolint:revive // until no row is read any more
			}
			return err
		}
	}
	return failed
}

// chunks makes records of the rows and hands them out, so many at a time.
func (im *importer) chunks(rows exchange.Rows[exchange.Row], do func(trial.TableRecords) error) error {
	im.anglers, im.held = map[trial.ID]struct{}{}, map[trial.ID]struct{}{}
	for row, err := range rows {
		if err != nil {
			return err
		}
		im.add(row)
		if len(im.chunk.Catches) == importChunk {
			if err := do(im.chunk); err != nil {
				return err
			}
			im.chunk = trial.TableRecords{Catches: make([]trial.Catch, 0, importChunk)}
			clear(im.held)
		}
	}
	return do(im.chunk)
}

// add puts one fish into the chunk, with its angler, outing and period where they are not there yet.
func (im *importer) add(row exchange.Row) {
	when, _, _ := row.Time()
	at := im.place(row, when)
	c := trial.Catch{
		TrialID: im.trial, ID: im.id("fish", im.file, strconv.Itoa(row.Line)), EnrolmentID: at.enrolmentID, PeriodID: at.periodID,
		TakenPattern: row.TakenPattern, TakenPosition: row.TakenPosition, Outcome: row.Outcome, FoulHooked: row.FoulHooked, RigIntact: true,
		Species: row.Species, Origin: row.Origin, CaughtAt: when, NotedAt: when, NotedBy: im.by, ReceivedAt: im.now, Version: 1, Reason: row.Exclusion,
		WaterType: row.WaterType, Fly: row.Fly, Further: im.values(row),
	}
	if row.Length != nil {
		value, err := strconv.ParseFloat(row.Length.Value, 64)
		if err == nil {
			c.Length = &trial.Measure{Value: value, Unit: row.Length.Unit}
		}
	}
	im.chunk.Catches = append(im.chunk.Catches, c)
}

// place returns where the fish was caught, and puts angler, outing and period into the chunk where they are not there yet.
func (im *importer) place(row exchange.Row, when time.Time) place {
	at := place{angler: row.Angler, outing: row.OutingLabel(), block: text(row.Block), period: text(row.Period), lower: row.LowerPattern}
	before := im.last
	if before.enrolmentID.IsZero() || at.angler != before.angler {
		at.enrolmentID = im.enrolment(at.angler)
	} else {
		at.enrolmentID = before.enrolmentID
		if at.outing == before.outing {
			at.outingID = before.outingID
			if at.block == before.block && at.period == before.period && at.lower == before.lower {
				return before
			}
		}
	}
	if at.outingID.IsZero() && at.outing != "" { // none where the table does not tell one from another
		at.outingID = im.id("outing", at.angler, at.outing)
		if im.isNew(at.outingID) {
			im.chunk.Outings = append(im.chunk.Outings, trial.Outing{
				TrialID: im.trial, ID: at.outingID, EnrolmentID: at.enrolmentID, ProtocolVersion: 1, StartedAt: when, ReceivedAt: im.now,
			})
		}
	}
	at.periodID = im.id("period", at.angler, at.outing, at.block, at.period, at.lower)
	if im.isNew(at.periodID) {
		period := trial.Period{
			TrialID: im.trial, ID: at.periodID, EnrolmentID: at.enrolmentID, OutingID: at.outingID, Block: at.block, Fished: im.arrangement(at.lower),
			Confirmed: at.lower != "", StartedAt: when, ReceivedAt: im.now, Version: 1,
		}
		if row.Period != nil {
			period.Half = *row.Period
		}
		im.chunk.Periods = append(im.chunk.Periods, period)
	}
	im.last = at
	return at
}

// isNew reports whether the chunk does not hold the outing or period yet.
func (im *importer) isNew(id trial.ID) bool {
	_, held := im.held[id]
	im.held[id] = struct{}{}
	return !held
}

// enrolment returns the id of the angler's enrolment, and puts it into the chunk when the table names him for the first time.
func (im *importer) enrolment(angler string) trial.ID {
	label := im.service.key.digest(im.trial.String(), "angler", angler)
	id := idOf(label)
	if _, named := im.anglers[id]; !named {
		im.chunk.Enrolments = append(im.chunk.Enrolments, trial.Enrolment{
			TrialID: im.trial, ID: id, ChainID: im.trial, Pseudonym: im.pseudonyms[len(im.anglers)], EnrolledAt: im.now, SentDigest: label,
		})
		im.anglers[id] = struct{}{}
	}
	return id
}

// values returns what stands in the row's further columns.
func (im *importer) values(row exchange.Row) trial.Further {
	if len(im.further) == 0 {
		return ""
	}
	values := make(map[string]string, len(im.further))
	for i, name := range im.further {
		values[name] = row.Further[i]
	}
	return trial.NewFurther(values)
}

func (im *importer) arrangement(lower string) trial.Arrangement {
	switch part, ok := im.protocol.PartOf(lower); {
	case !ok:
		return ""
	case part == trial.Test:
		return trial.TestLower
	}
	return trial.ControlLower
}

func (im *importer) id(words ...string) trial.ID {
	return im.service.derivedID(append([]string{im.trial.String()}, words...)...)
}

// derivedID derives a UUID of version 8 (RFC 9562, section 5.8) from words under the server's key.
func (s *Service) derivedID(words ...string) trial.ID { return idOf(s.key.digest(words...)) }

func idOf(d trial.Digest) trial.ID {
	id := trial.ID(d[:16])
	id[6] = id[6]&0x0f | 0x80
	id[8] = id[8]&0x3f | 0x80
	return id
}

func text(n *int) string {
	if n == nil {
		return ""
	}
	return strconv.Itoa(*n)
}
