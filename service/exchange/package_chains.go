package exchange

import (
	"cmp"
	"encoding/json"
	"slices"

	"evenrig/service/trial"
)

// checkpointsTold are the checkpoints of which it may be told how far each chain had come: those of changes of state and of looks, the
// one that was analysed, and the last of each week. Of all of them it would tell the minute of every record. publicly says which of
// them everybody knows of anyhow.
func (p *publisher) checkpointsTold() (told []int64, publicly map[int64]bool) {
	publicly = map[int64]bool{p.Closing.Checkpoint: true}
	for _, l := range p.Looks {
		publicly[l.Checkpoint] = true
	}
	for i, c := range p.Checkpoints {
		if slices.ContainsFunc(p.Changes, func(change trial.StateChange) bool { return change.At.Equal(c.At) }) {
			publicly[c.N] = true
		}
		last := i == len(p.Checkpoints)-1 || weekOf(c.At) != weekOf(p.Checkpoints[i+1].At)
		if c.N <= p.Closing.Checkpoint && (last || publicly[c.N]) {
			told = append(told, c.N)
		}
	}
	return told, publicly
}

// weekShown is a checkpoint's week, empty where it would tell of a week in which few fished.
func (p *publisher) weekShown(c trial.Checkpoint) string {
	if p.publicly[c.N] {
		return weekOf(c.At)
	}
	return p.suppression.Week(weekOf(c.At))
}

// movesByChain are the moves of each chain in order of checkpoint.
func (p *publisher) movesByChain() map[trial.ID][]trial.CheckpointMove {
	by := map[trial.ID][]trial.CheckpointMove{}
	for _, m := range p.Moves {
		by[m.ChainID] = append(by[m.ChainID], m)
	}
	for _, moves := range by {
		slices.SortFunc(moves, func(a, b trial.CheckpointMove) int { return cmp.Compare(a.Checkpoint, b.Checkpoint) })
	}
	return by
}

// headsAt says how many entries each chain had at a checkpoint, as far as that is known.
func (p *publisher) headsAt(checkpoint int64) map[trial.ID]int64 {
	at := map[trial.ID]int64{}
	for chain, moves := range p.moves {
		for _, m := range moves {
			if m.Checkpoint <= checkpoint {
				at[chain] = m.N
			}
		}
	}
	return at
}

// noteHeads keeps a chain's heads at the checkpoints that are told.
func (p *publisher) noteHeads(chain trial.ID, c Chain) {
	moves := p.moves[chain]
	for _, n := range p.wanted {
		head := trial.Head{TrialID: p.Trial.ID, ChainID: chain, N: -1}
		for _, m := range moves {
			if m.Checkpoint > n {
				break
			}
			head.N = m.N
		}
		if head.N > int64(len(c.Entries)) || head.N < 0 {
			continue // not begun then, or not known
		}
		if head.N > 0 {
			head.Hash = c.Entries[head.N-1].Hash
		}
		p.heads[n] = append(p.heads[n], head)
	}
}

// checkpoints are those up to the one that was analysed.
func (p *publisher) checkpoints() []Checkpoint {
	var list []Checkpoint
	for _, c := range p.Checkpoints {
		if c.N <= p.Closing.Checkpoint {
			list = append(list, Checkpoint{N: c.N, Week: p.weekShown(c), Root: c.Root, Hash: c.Hash})
		}
	}
	return list
}

// headRows are the heads of the checkpoints whose root they give: of one made before heads were kept they do not.
func (p *publisher) headRows() []Head {
	shown := map[trial.ID]bool{p.Trial.ID: true}
	for _, chain := range p.shownChains {
		shown[chain] = true
	}
	var rows []Head
	for _, c := range p.Checkpoints {
		heads := p.heads[c.N]
		if p.weekShown(c) == "" || len(heads) == 0 || trial.HeadsRoot(heads) != c.Root {
			continue
		}
		slices.SortFunc(heads, func(a, b trial.Head) int {
			x, y := a.ChainID.Public(), b.ChainID.Public()
			return slices.Compare(x[:], y[:])
		})
		for i, h := range heads {
			row := Head{Checkpoint: c.N, Place: i + 1, Leaf: h.Leaf()}
			if shown[h.ChainID] {
				row.Chain, row.N = h.ChainID.Public(), h.N
			}
			rows = append(rows, row)
		}
	}
	return rows
}

// organisersEntries is the organiser's chain up to what was analysed, with the parts of what is everybody's to read: changes of state,
// versions of the protocol, words of draw night and imported tables.
func (p *publisher) organisersEntries() []Entry {
	var rows []Entry
	cut, known := p.cut[p.Trial.ID]
	for _, e := range p.Organisers.Entries {
		if known && e.N > cut {
			break
		}
		row := entryOf("", e)
		if parts, kept := p.Organisers.Parts[e.N]; kept && p.mayShowOrganisers(e, parts.Public) {
			row.Salt, row.Public = parts.PublicSalt, string(parts.Public)
		}
		rows = append(rows, row)
	}
	return rows
}

func (p *publisher) mayShowOrganisers(e trial.LedgerEntry, public []byte) bool {
	var part struct {
		Reason string `json:"reason"`
		Word   string `json:"word"`
	}
	switch e.Kind {
	case trial.LedgerState, trial.LedgerProtocol, trial.LedgerImport, trial.LedgerWord, trial.LedgerDrawNight:
		return json.Unmarshal(public, &part) == nil && !p.Protocol.Names(part.Reason+"\n"+part.Word, p.People)
	}
	return false
}
