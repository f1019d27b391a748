package conduct

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"

	"evenrig/service/trial"
)

// LogEntry is one link of a trial's chains as a scrutineer reads it. Angler is the pseudonym, empty for the trial's own
// entries and where the angler was erased. Before locking Kind says no more than "record" of what an angler sent, and there is
// neither Subject nor Record. Record is the published part of what was recorded, the patterns called A and B.
type LogEntry struct {
	ChainID trial.ID
	N       int64
	Angler  string
	Erased  bool
	Kind    string
	Subject trial.ID
	Week    string
	Hash    trial.Digest
	Record  map[string]any
}

// MaskedLog is a part of a trial's log. Next is where the next part begins, empty at the end.
type MaskedLog struct {
	Entries []LogEntry
	Next    string
}

// kindHidden is what an angler's record is called while the running effect is hidden: how many fish each has is not told.
const kindHidden = "record"

// MaskedLog returns at most limit entries of a trial's chains, one chain after another, from the place that the part before
// named ("" for the first). Until the trial is locked they say that something was recorded and in which week, and nothing of
// what; then everything that may be published, without telling the patterns apart.
func (s *Service) MaskedLog(ctx context.Context, actor trial.Actor, id trial.ID, after string, limit int) (log MaskedLog, err error) {
	chain, n, err := placeInLog(after)
	if err != nil {
		return log, err
	}
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		log = MaskedLog{}
		t, err := inTrial(ctx, tx, actor, id, trial.ReadMaskedLog)
		if err != nil {
			return err
		}
		p, err := s.rulesOf(ctx, tx, t)
		if err != nil {
			return err
		}
		heads, err := tx.HeadsOf(ctx, id)
		if err != nil {
			return err
		}
		enrolments, err := tx.EnrolmentsOf(ctx, id)
		if err != nil {
			return err
		}
		of := map[trial.ID]trial.Enrolment{}
		for _, e := range enrolments {
			of[e.ChainID] = e
		}
		for _, h := range heads {
			if bytes.Compare(h.ChainID[:], chain[:]) < 0 || h.ChainID == chain && h.N <= n {
				continue
			}
			from := int64(0)
			if h.ChainID == chain {
				from = n
			}
			entries, err := logOf(ctx, tx, t, *p, h.ChainID, of[h.ChainID])
			if err != nil {
				return err
			}
			for _, e := range entries[from:] {
				if len(log.Entries) == limit {
					last := log.Entries[limit-1]
					log.Next = last.ChainID.String() + "." + strconv.FormatInt(last.N, 10)
					return nil
				}
				log.Entries = append(log.Entries, e)
			}
		}
		return nil
	})
	return log, err
}

// placeInLog reads where a part of the log begins.
func placeInLog(after string) (chain trial.ID, n int64, err error) {
	if after == "" {
		return chain, 0, nil
	}
	text, number, _ := strings.Cut(after, ".")
	chain, idErr := trial.ParseID(text)
	n, numberErr := strconv.ParseInt(number, 10, 64)
	if idErr != nil || numberErr != nil || n < 1 {
		var f trial.Faults
		f.Add("after", "is no place in a log; accepted: the one in the link to the next part")
		return chain, n, f.Err("request.invalid", "the request has faults")
	}
	return chain, n, nil
}

// logOf reads one chain. Which blocks have two control flies is known from the chain itself: a unit stands before its
// periods, and they before their fish.
func logOf(ctx context.Context, tx trial.ReadTx, t trial.Trial, p trial.Protocol, chain trial.ID, e trial.Enrolment) ([]LogEntry, error) {
	entries, err := tx.EntriesOf(ctx, t.ID, chain)
	if err != nil {
		return nil, err
	}
	parts, err := tx.PartsOf(ctx, t.ID, chain)
	if err != nil {
		return nil, err
	}
	mask, own := t.Mask(p), chain == t.ID
	checks := map[string]bool{} // units with two control flies, their periods and what refers to these, by public id
	log := make([]LogEntry, 0, len(entries))
	for _, entry := range entries {
		line := LogEntry{ChainID: chain, N: entry.N, Kind: entry.Kind, Hash: entry.Hash}
		if !own {
			line.Angler, line.Erased = e.Pseudonym, e.ErasedAt != nil
		}
		public := parts[entry.N].Public
		var told struct {
			Week, Unit, Period, Subject string
			Check                       bool `json:"same_fly_check"`
		}
		if len(public) > 0 {
			if err := json.Unmarshal(public, &told); err != nil {
				return nil, fmt.Errorf("read entry %d of chain %s: %w", entry.N, chain, err)
			}
		}
		line.Week = told.Week
		if t.Hidden() {
			if !own && entry.Kind != trial.LedgerEnrolment && entry.Kind != trial.LedgerWithdrawal {
				line.Kind = kindHidden
			}
			log = append(log, line)
			continue
		}
		line.Subject = entry.Subject.Public()
		check := told.Check || checks[told.Unit] || checks[told.Period] || checks[told.Subject]
		checks[line.Subject.String()] = checks[line.Subject.String()] || check
		if len(public) > 0 {
			if line.Record, err = mask.Record(public, check); err != nil {
				return nil, fmt.Errorf("mask entry %d of chain %s: %w", entry.N, chain, err)
			}
		}
		log = append(log, line)
	}
	return log, nil
}
