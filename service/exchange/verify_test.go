package exchange

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"slices"
	"strings"
	"testing"

	"evenrig/service/trial"
)

// unpacked is a package with all its rows in memory, for a forger to change; packed again it has right checksums, and every file that
// follows from the tables follows from the changed ones.
type unpacked struct {
	Package
	outings    []Outing
	units      []Unit
	periods    []Period
	deviations []Deviation
	fish       []Fish
	amendments []Amendment
	entries    []Entry
}

func all[T any](t testing.TB, rows Rows[T]) (list []T) {
	t.Helper()
	for row, err := range rows {
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, row)
	}
	return list
}

func unpack(t testing.TB, p Package) *unpacked {
	t.Helper()
	p.Anglers, p.Words, p.Versions, p.Checkpoints, p.Heads = slices.Clone(p.Anglers), slices.Clone(p.Words), slices.Clone(p.Versions), slices.Clone(p.Checkpoints), slices.Clone(p.Heads)
	p.Plan, p.Result, p.Report = slices.Clone(p.Plan), slices.Clone(p.Result), slices.Clone(p.Report)
	return &unpacked{p, all(t, p.Outings), all(t, p.Units), all(t, p.Periods), all(t, p.Deviations), all(t, p.Catches), all(t, p.Amendments), all(t, p.Ledger)}
}

func (u *unpacked) pack(t testing.TB) []byte {
	t.Helper()
	p := u.Package
	p.Outings, p.Units, p.Periods, p.Deviations = RowsOf(u.outings), RowsOf(u.units), RowsOf(u.periods), RowsOf(u.deviations)
	p.Catches, p.Amendments, p.Ledger = RowsOf(u.fish), RowsOf(u.amendments), RowsOf(u.entries)
	return written(t, p)
}

func smallTrial() playing { return playing{anglers: 4, outings: 2, blocks: 2} }

// analysed is the place of a fish that is analysed, was never corrected, and took the test pattern as given.
func (u *unpacked) analysed(t testing.TB) int {
	i := slices.IndexFunc(u.fish, func(c Fish) bool {
		return c.Exclusion == trial.Analysed && c.TakenPattern == "C" && c.Amendments == 0 && len(c.Withheld) == 0
	})
	if i < 0 {
		t.Fatal("no such fish")
	}
	return i
}

// Whatever a forger changes, with every checksum and every derived file put right again, something disagrees that says where.
func TestAForgedPackageIsFound(t *testing.T) {
	honest := readBack(t, written(t, play(t, smallTrial()).publish()))
	for _, c := range []struct {
		name  string
		forge func(t *testing.T, u *unpacked)
		part  string
	}{
		{"the order of a unit", func(t *testing.T, u *unpacked) {
			u.units[0].First = u.units[0].First.Other()
			for i := range u.periods {
				if p := &u.periods[i]; p.Unit == u.units[0].ID {
					p.Drawn = p.Drawn.Other()
				}
			}
		}, partDraw},
		{"the arrangement of a period, with all that follows from it", func(t *testing.T, u *unpacked) {
			p := &u.periods[0]
			p.Fished = p.Fished.Other()
			for i := range u.fish {
				if f := &u.fish[i]; f.Period == p.ID {
					f.Arrangement = f.Arrangement.Other()
					f.Taken, _ = (trial.Catch{TakenPattern: f.TakenPattern, TakenPosition: f.TakenPosition}).TakenIn(kitProtocol(), f.Arrangement)
				}
			}
		}, partRecords},
		{"the fly that a fish took", func(t *testing.T, u *unpacked) {
			f := &u.fish[u.analysed(t)]
			f.TakenPattern, f.Taken = "N", trial.TookControl
		}, partRecords},
		{"a fish dropped", func(t *testing.T, u *unpacked) {
			i := u.analysed(t)
			u.fish = slices.Delete(u.fish, i, i+1)
		}, partRecords},
		{"a fish added", func(t *testing.T, u *unpacked) {
			i := u.analysed(t)
			more := u.fish[i]
			more.ID[15]++
			u.fish = slices.Insert(u.fish, i+1, more)
		}, partRecords},
		{"a fish voided without a correction", func(t *testing.T, u *unpacked) {
			f := &u.fish[u.analysed(t)]
			f.Void, f.Exclusion = true, trial.Void
		}, partRecords},
		{"a fish left out for nothing", func(t *testing.T, u *unpacked) {
			u.fish[u.analysed(t)].Exclusion = trial.NotSure
		}, partDerived},
		{"a fish left out for a time that is not published", func(t *testing.T, u *unpacked) {
			u.fish[u.analysed(t)].Exclusion = trial.NotConfirmed
		}, partResult},
		{"the reason of a correction", func(t *testing.T, u *unpacked) {
			i := slices.IndexFunc(u.amendments, func(a Amendment) bool { return a.Reason == "entered twice" })
			u.amendments[i].Reason = "the fish was foul hooked"
		}, partRecords},
		{"a correction dropped", func(t *testing.T, u *unpacked) {
			i := slices.IndexFunc(u.amendments, func(a Amendment) bool { return a.Reason == "entered twice" })
			u.amendments = slices.Delete(u.amendments, i, i+1)
		}, partRecords},
		{"words of draw night swapped", func(t *testing.T, u *unpacked) {
			u.Words[0].Word, u.Words[1].Word = u.Words[1].Word, u.Words[0].Word
		}, partDraw},
		{"another seed", func(t *testing.T, u *unpacked) { u.Facts.Seed[0]++ }, partDraw},
		{"another seed with its commitment", func(t *testing.T, u *unpacked) {
			u.Facts.Seed[0]++
			u.Facts.Commitment = trial.CommitmentTo(u.Facts.Seed, u.Facts.Fingerprint)
		}, partDraw},
		{"another code of an angler", func(t *testing.T, u *unpacked) { u.Anglers[0].Code[3] += 2 }, partDraw},
		{"another number in the rule sheet, with its fingerprint", func(t *testing.T, u *unpacked) {
			u.Plan = bytes.Replace(u.Plan, []byte(`"smallest_share":60`), []byte(`"smallest_share":55`), 1)
			u.Versions[0].Plan = sha256.Sum256(u.Plan)
		}, partRules},
		{"another fingerprint of the rule sheet", func(t *testing.T, u *unpacked) {
			u.Facts.Fingerprint[0]++
			u.Versions[0].Fingerprint[0]++
		}, partDraw},
		{"a number of the result", func(t *testing.T, u *unpacked) {
			u.Result = bytes.Replace(u.Result, []byte(`"share":0.`), []byte(`"share":0.9`), 1)
		}, partResult},
		{"the sentence of the report", func(t *testing.T, u *unpacked) {
			u.Report = bytes.ReplaceAll(u.Report, []byte("Of 100 fish"), []byte("Of 90 fish"))
		}, partReport},
		{"a checkpoint", func(t *testing.T, u *unpacked) { u.Checkpoints[3].Root[0]++ }, partCheckpoints},
		{"the last checkpoint, with its hash", func(t *testing.T, u *unpacked) {
			last := len(u.Checkpoints) - 1
			u.Checkpoints[last].Root[0]++
			before := trial.Checkpoint{N: u.Checkpoints[last-1].N, Hash: u.Checkpoints[last-1].Hash}
			u.Checkpoints[last].Hash = trial.Checkpoint{Root: u.Checkpoints[last].Root}.Follow(&before)
		}, partCheckpoints},
		{"the heads of the last checkpoint dropped", func(t *testing.T, u *unpacked) {
			u.Heads = keep(u.Heads, func(h Head) bool { return h.Checkpoint != u.Facts.Checkpoint })
		}, partCheckpoints},
		{"two entries of a chain in another order", func(t *testing.T, u *unpacked) {
			i := u.entryOf(t, trial.LedgerCatch)
			u.entries[i], u.entries[i+1] = u.entries[i+1], u.entries[i]
			u.entries[i].N, u.entries[i+1].N = u.entries[i+1].N, u.entries[i].N
		}, partChains},
		{"a chain linked anew after a fish was changed in it", func(t *testing.T, u *unpacked) {
			u.changeInLedger(t)
		}, partCheckpoints},
		{"the end of a chain cut off, with its rows", func(t *testing.T, u *unpacked) {
			last := len(u.entries) - 1
			angler := u.entries[last].Angler
			for u.entries[last].Kind != trial.LedgerCatch || u.entries[last].Angler != angler {
				last--
			}
			gone := map[trial.ID]bool{}
			for _, e := range u.entries[last:] {
				gone[e.Subject] = true
			}
			u.entries = u.entries[:last]
			u.fish = keep(u.fish, func(f Fish) bool { return !gone[f.ID] })
		}, partCheckpoints},
		{"an angler dropped with chain and all", func(t *testing.T, u *unpacked) {
			gone := u.Anglers[1]
			u.Anglers = slices.Delete(u.Anglers, 1, 2)
			u.outings = keep(u.outings, func(r Outing) bool { return r.Angler != gone.Pseudonym })
			u.units = keep(u.units, func(r Unit) bool { return r.Angler != gone.Pseudonym })
			u.periods = keep(u.periods, func(r Period) bool { return r.Angler != gone.Pseudonym })
			u.deviations = keep(u.deviations, func(r Deviation) bool { return r.Angler != gone.Pseudonym })
			u.fish = keep(u.fish, func(r Fish) bool { return r.Angler != gone.Pseudonym })
			u.amendments = keep(u.amendments, func(r Amendment) bool { return r.Angler != gone.Pseudonym })
			u.entries = keep(u.entries, func(r Entry) bool { return r.Angler != gone.Pseudonym })
			for i := range u.Heads {
				if u.Heads[i].Chain == gone.Enrolment {
					u.Heads[i].Chain, u.Heads[i].N = trial.ID{}, 0
				}
			}
			u.Facts.Enrolled--
		}, partCheckpoints},
		{"a week that only one angler fished in", func(t *testing.T, u *unpacked) {
			for i := range u.outings {
				if u.outings[i].Angler == u.outings[0].Angler {
					u.outings[i].Week = "2026-W50"
				}
			}
		}, partPrivacy},
		{"an outing's fish not logged", func(t *testing.T, u *unpacked) { u.outings[0].NotLogged += 7 }, partRecords},
		{"a block said to be finished", func(t *testing.T, u *unpacked) {
			for i := range u.periods {
				u.periods[i].Finished = !u.periods[i].Finished
			}
		}, partDerived},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			u := unpack(t, honest)
			c.forge(t, u)
			v := verified(t, readBack(t, u.pack(t)))
			if !slices.ContainsFunc(v.Findings, func(f Finding) bool { return f.Part == c.part && f.Outcome == Disagrees }) {
				t.Errorf("nothing disagrees in %q:\n%s", c.part, told(v))
			}
		})
	}
}

func (u *unpacked) entryOf(t testing.TB, kind string) int {
	i := slices.IndexFunc(u.entries, func(e Entry) bool { return e.Kind == kind && e.Public != "" })
	if i < 0 {
		t.Fatal("no such entry")
	}
	return i
}

// changeInLedger changes what a fish took in its row and in the ledger, and links the chain anew from there on.
func (u *unpacked) changeInLedger(t testing.TB) (changed Entry) {
	i := u.analysed(t)
	f := &u.fish[i]
	f.TakenPattern, f.Taken = "N", trial.TookControl
	at := slices.IndexFunc(u.entries, func(e Entry) bool { return e.Kind == trial.LedgerCatch && e.Subject == f.ID })
	changed = u.entries[at]
	e := &u.entries[at]
	e.Public = strings.Replace(e.Public, `"taken_pattern":"C"`, `"taken_pattern":"N"`, 1)
	e.PublicDigest = trial.PartDigest(e.Salt, []byte(e.Public))
	for j := at; j < len(u.entries) && u.entries[j].Chain == changed.Chain; j++ {
		e := &u.entries[j]
		e.Hash = trial.LedgerEntry{
			TrialID: u.Facts.Trial, ChainID: e.Chain, N: e.N, Kind: e.Kind, Subject: e.Subject, PublicDigest: e.PublicDigest, PrivateDigest: e.PrivateDigest,
		}.Link(u.entries[j-1].Hash)
	}
	return changed
}

// Who rewrites everything, from a fish to the last checkpoint and the result, makes a package that agrees with itself; the code that the club
// pinned up and the receipt of whoever caught the fish tell it all the same.
func TestAWholeNewHistoryIsToldByReceiptAndCheckCode(t *testing.T) {
	honest := readBack(t, written(t, play(t, smallTrial()).publish()))
	pinned := verified(t, honest).CheckCode
	u := unpack(t, honest)
	fish := u.changeInLedger(t)
	u.checkpointsAnew()
	in, err := readBack(t, u.pack(t)).Input()
	if err != nil {
		t.Fatal(err)
	}
	u.resultAnew(t, in)
	forged := readBack(t, u.pack(t))
	v := verified(t, forged)
	if !v.Agrees() {
		t.Fatalf("the forger missed something, so that this test shows nothing:\n%s", told(v))
	}
	if v.CheckCode == pinned {
		t.Error("the check code is the same")
	}
	v = verified(t, forged, Receipt{Chain: fish.Chain, N: fish.N, Hash: fish.Hash})
	if v.Agrees() || v.Own[0].Found {
		t.Errorf("the receipt is said to stand: %+v", v.Own)
	}
	if v := verified(t, honest, Receipt{Code: fish.Hash.String()[:20]}); !v.Agrees() || !v.Own[0].Found || v.Own[0].Angler != fish.Angler {
		t.Errorf("the receipt is not found in the honest package: %+v", v.Own)
	}
}

// Files of an archive changed without knowing what hangs on them.
func TestAChangedFileIsFound(t *testing.T) {
	honest := written(t, play(t, smallTrial()).publish())
	for _, c := range []struct {
		name, file, old, new string
		sums                 bool // put right
	}{
		{"a table", "catches.csv", "landed", "lost", false},
		{"the terms of the licence", fileLicence, "You may copy", "You may not copy", true},
		{"the table for others", "occurrence.csv", "Thymallus thymallus", "Salmo trutta", true},
		{"the descriptor", fileDescriptor, `"integer"`, `"string"`, true},
		{"the checksums", fileChecksums, "report.html", "rapport.html", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			v := verified(t, readBack(t, rezip(t, honest, func(files map[string][]byte) {
				before := files[c.file]
				files[c.file] = bytes.Replace(before, []byte(c.old), []byte(c.new), 1)
				if bytes.Equal(files[c.file], before) {
					t.Fatalf("%s has no %q", c.file, c.old)
				}
				if c.sums {
					was, is := sha256.Sum256(before), sha256.Sum256(files[c.file])
					files[fileChecksums] = bytes.Replace(files[fileChecksums], []byte(hex.EncodeToString(was[:])), []byte(hex.EncodeToString(is[:])), 1)
				}
			})))
			if !slices.ContainsFunc(v.Findings, func(f Finding) bool { return f.Part == partFiles && f.Outcome == Disagrees }) {
				t.Errorf("nothing disagrees:\n%s", told(v))
			}
		})
	}
}

// rezip packs an archive anew with its files changed.
func rezip(t testing.TB, archive []byte, change func(map[string][]byte)) []byte {
	t.Helper()
	in, err := zip.NewReader(bytes.NewReader(archive), int64(len(archive)))
	if err != nil {
		t.Fatal(err)
	}
	files, names := map[string][]byte{}, []string{}
	for _, f := range in.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if files[f.Name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
		names = append(names, f.Name)
	}
	change(files)
	for name := range files {
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	var b bytes.Buffer
	out := zip.NewWriter(&b)
	for _, name := range names {
		if files[name] == nil {
			continue
		}
		w, err := out.Create(name)
		if err == nil {
			_, err = w.Write(files[name])
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
