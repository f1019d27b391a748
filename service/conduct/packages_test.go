package conduct_test

import (
	"bytes"
	"strings"
	"testing"

	"evenrig/service/analysis"
	"evenrig/service/conduct"
	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// published is a trial with its package's bytes.
func published(t *testing.T, closed int) (e *contest, bytes []byte) {
	w := newWorld(t)
	e, _ = w.fished("Wend Grayling Club", closed)
	e.publish()
	return e, w.downloaded(e.trial)
}

// A package read on another server is the same trial there: its rules, its result byte for byte, and where it came from. What
// was counted gives the same result again where nobody was left out.
func TestReadPackageElsewhere(t *testing.T) {
	t.Parallel()
	for _, closed := range []int{0, 3} {
		e, pack := published(t, closed)
		here := must(e.w.s.Published(e.w.ctx, e.trial))(t)
		there := newWorld(t)
		c := there.newClub("Sillet Anglers", 1)
		copied := must(there.s.ReadPackage(there.ctx, c.organiser, c.id, bytes.NewReader(pack)))(t)
		view := copied.Trial
		if !copied.Created || view.Trial.State != trial.Published || view.Trial.Original != e.trial || view.Closing != 1 {
			t.Errorf("read as %+v", view)
		}
		if o := view.Origin; o == nil || o.Package != here.Current.Package || o.Edition != 1 || o.Licence != exchange.CCBY4 || o.Club != "Wend Grayling Club" {
			t.Errorf("it came from %+v", view.Origin)
		}
		p := must(exchange.ReadPackage(bytes.NewReader(pack), int64(len(pack))))(t)
		a := must(there.s.Analysis(there.ctx, c.anglers[0], view.Trial.ID, 1))(t)
		if !bytes.Equal(a.Result, p.Result) {
			t.Error("the result has other bytes")
		}
		if closed == 0 {
			first := must(e.w.s.Analysis(e.w.ctx, e.organiser, e.trial, 1))(t)
			if !bytes.Equal(a.Result, first.Result) {
				t.Error("the result is not the one that the trial had")
			}
			in := must(analysis.ReadInput(must(there.s.Protocol(there.ctx, c.organiser, view.Trial.ID))(t).Protocol, there.stored(view.Trial.ID, 1).Input))(t)
			again := must(must(analysis.Run(in, analysis.Settings{ProgramVersion: a.ProgramVersion}))(t).Encode())(t)
			if !bytes.Equal(again, a.Result) {
				t.Error("what was counted gives another result")
			}
		}
		var page bytes.Buffer
		there.ok(there.s.Report(there.ctx, c.eyes, view.Trial.ID, 1, conduct.ReportPage, &page))
		if !strings.Contains(page.String(), "Wend Grayling Club") || strings.Contains(page.String(), "Sillet Anglers") {
			t.Error("the report does not say whose trial it was")
		}

		same := must(there.s.ReadPackage(there.ctx, c.organiser, c.id, bytes.NewReader(pack)))(t)
		if same.Created || same.Trial.Trial.ID != view.Trial.ID {
			t.Errorf("read again as %+v", same.Trial)
		}
		if list := must(there.s.Trials(there.ctx, c.organiser, c.id, everything))(t); len(list) != 1 {
			t.Errorf("%d trials", len(list))
		}
	}
}

// Nothing of a copy can be changed, and nothing of it is published or registered a second time. It can be repeated, as the trial
// that it is a copy of.
func TestCopyIsRead(t *testing.T) {
	t.Parallel()
	e, pack := published(t, 0)
	w := newWorld(t)
	c, others := w.newClub("Sillet Anglers", 1), w.newClub("Quarle Anglers", 0)
	id := must(w.s.ReadPackage(w.ctx, c.organiser, c.id, bytes.NewReader(pack)))(t).Trial.Trial.ID
	_, err := w.s.RequestAnalysis(w.ctx, c.organiser, id)
	wantKind(t, err, trial.Conflict, "trial.copy")
	_, err = w.s.PublishTrial(w.ctx, c.organiser, id, conduct.NewPublication{Licence: exchange.CC0})
	wantKind(t, err, trial.Conflict, "trial.copy")
	wantKind(t, w.s.ExportCatches(w.ctx, c.organiser, id, &bytes.Buffer{}), trial.Conflict, "trial.copy")
	_, err = w.s.MoveTrial(w.ctx, c.organiser, id, trial.Abandoned, "no longer wanted")
	wantKind(t, err, trial.Conflict, "trial.state")
	_, err = w.s.Enrol(w.ctx, c.anglers[0], id, trial.Enrolment{ID: w.randomID(), Code: [32]byte{1}, Consent: allTicks})
	wantKind(t, err, trial.Conflict, "trial.state")
	_, err = w.s.Published(w.ctx, id)
	wantKind(t, err, trial.NotFound, "")
	if entries := must(w.s.Register(w.ctx, everything))(t); len(entries) != 0 {
		t.Errorf("registered: %+v", entries)
	}
	must(w.s.Progress(w.ctx, c.eyes, id))(t)
	w.ok(w.s.Checkpoint(w.ctx))
	if checked := must(w.s.Check(w.ctx))(t); len(checked.Faults) > 0 {
		t.Error(checked.Faults)
	}
	_, err = w.s.CreateRepeat(w.ctx, others.organiser, others.id, id) // another club's copy
	wantKind(t, err, trial.NotFound, "")
	draft := must(w.s.CreateRepeat(w.ctx, c.organiser, c.id, id))(t)
	if p := must(w.s.Protocol(w.ctx, c.organiser, draft.Trial.ID))(t).Protocol; p.RepeatOf != e.trial || len(p.Waters) != 0 {
		t.Errorf("the repeat is %+v", p)
	}
}

// What is no package is refused, and so is one that somebody changed; nothing of either is kept.
func TestRefusedPackages(t *testing.T) {
	t.Parallel()
	_, pack := published(t, 0)
	w := newWorld(t)
	c := w.newClub("Sillet Anglers", 1)
	_, err := w.s.ReadPackage(w.ctx, c.organiser, c.id, strings.NewReader("angler,outing"))
	if trial.KindOf(err) != trial.Invalid {
		t.Errorf("no package: %v", err)
	}
	_, err = w.s.ReadPackage(w.ctx, c.organiser, c.id, bytes.NewReader(forged(t, pack)))
	wantKind(t, err, trial.Invalid, "package.disagrees")
	_, err = w.s.ReadPackage(w.ctx, c.anglers[0], c.id, bytes.NewReader(pack))
	wantKind(t, err, trial.Forbidden, "forbidden")
	if list := must(w.s.Trials(w.ctx, c.organiser, c.id, everything))(t); len(list) != 0 {
		t.Errorf("kept: %+v", list)
	}
}

// forged is the package with one more fish for the usual fly in its result, and the checksums made good.
func forged(t *testing.T, pack []byte) []byte {
	t.Helper()
	p := must(exchange.ReadPackage(bytes.NewReader(pack), int64(len(pack))))(t)
	r := must(analysis.Decode(p.Result))(t)
	r.Counts.Control++
	p.Result = must(r.Encode())(t)
	var b bytes.Buffer
	if err := exchange.WritePackage(&b, p); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
