package exchange

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"io"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

func written(t testing.TB, p Package) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WritePackage(&b, p); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func readBack(t testing.TB, archive []byte) Package {
	t.Helper()
	p, err := ReadPackage(bytes.NewReader(archive), int64(len(archive)))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func verified(t testing.TB, p Package, receipts ...Receipt) Verdict {
	t.Helper()
	v, err := Verify(p, VerifyOptions{ProgramVersion: "test", Receipts: receipts})
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// filesOf are the files of an archive by name.
func filesOf(t testing.TB, archive []byte) map[string]string {
	t.Helper()
	in, err := zip.NewReader(bytes.NewReader(archive), int64(len(archive)))
	if err != nil {
		t.Fatal(err)
	}
	files := map[string]string{}
	for _, f := range in.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		files[f.Name] = string(text)
	}
	return files
}

func agreed(t testing.TB, p Package) Verdict {
	t.Helper()
	v := verified(t, p)
	if !v.Agrees() {
		t.Fatalf("an honest package disagrees:\n%s", told(v))
	}
	return v
}

func TestAPackageIsReadAsItWasWritten(t *testing.T) {
	w := play(t, usualTrial())
	p := w.publish()
	archive := written(t, p)
	if again := written(t, w.publish()); !bytes.Equal(archive, again) {
		t.Error("the same trial gives another archive")
	}
	back := readBack(t, archive)
	a, b := unpack(t, p), unpack(t, back)
	a.archive, b.archive = nil, nil
	for _, u := range []*unpacked{a, b} {
		u.Outings, u.Units, u.Periods, u.Deviations, u.Catches, u.Amendments, u.Ledger = nil, nil, nil, nil, nil, nil, nil
	}
	if !reflect.DeepEqual(a, b) {
		t.Error("what was read is not what was written")
	}
	if !bytes.Equal(archive, written(t, back)) {
		t.Error("what was read is written otherwise")
	}
	agreed(t, back)
}

// With nothing left out the published result is the club's, and the rows give it again: another server that reads the package computes the
// same bytes.
func TestTheRowsGiveTheResultAgain(t *testing.T) {
	w := play(t, usualTrial())
	p := readBack(t, written(t, w.publish()))
	if !bytes.Equal(p.Result, w.source.Closing.Result) {
		t.Error("the published result is not the closing analysis's")
	}
	in, err := p.Input()
	if err != nil {
		t.Fatal(err)
	}
	input, err := analysis.Canonical(in)
	if err != nil || !bytes.Equal(input, w.source.Closing.Input) {
		t.Errorf("the rows give other counts than the records (%v)", err)
	}
}

func TestAnotherVersionOfTheProgramComparesNumbers(t *testing.T) {
	p := readBack(t, written(t, play(t, smallTrial()).publish()))
	v, err := Verify(p, VerifyOptions{ProgramVersion: "another"})
	if err != nil {
		t.Fatal(err)
	}
	if !v.Agrees() {
		t.Errorf("it disagrees:\n%s", told(v))
	}
	close := bytes.Replace(p.Result, []byte(`"statistic":`), []byte(`"statistic":1`), 1)
	differences, err := compareJSON(close, p.Result)
	if err != nil || len(differences) != 1 || !strings.Contains(differences[0], "statistic") {
		t.Errorf("a changed number is told as %q (%v)", differences, err)
	}
}

// Who did not agree has no rows; with one or two of them others join, and the result says nothing of any of them alone.
func TestWhoDidNotAgreeIsLeftOut(t *testing.T) {
	with := usualTrial()
	with.closed = []int{1}
	w := play(t, with)
	archive := written(t, w.publish())
	p := readBack(t, archive)
	v := agreed(t, p)
	if p.Facts.Withheld != 3 || p.Facts.Enrolled != 6 || len(p.Anglers) != 3 {
		t.Fatalf("%d of %d left out, %d listed; want 3 of 6, 3", p.Facts.Withheld, p.Facts.Enrolled, len(p.Anglers))
	}
	listed := map[string]bool{}
	for _, a := range p.Anglers {
		listed[a.Pseudonym] = true
	}
	files := filesOf(t, archive)
	for _, a := range w.anglers {
		e := a.Records.Enrolment
		if !e.Consent.PublishOpen && listed[e.Pseudonym] {
			t.Errorf("%s did not agree and is listed", e.Pseudonym)
		}
		for name, text := range files {
			if !listed[e.Pseudonym] && (strings.Contains(text, e.Pseudonym) || strings.Contains(text, e.ID.String()) || strings.Contains(text, a.Records.Catches[0].ID.Public().String())) {
				t.Errorf("%s tells of %s, who is left out", name, e.Pseudonym)
			}
		}
	}
	was, err := analysis.Decode(w.source.Closing.Result)
	if err != nil {
		t.Fatal(err)
	}
	is, err := analysis.Decode(p.Result)
	if err != nil {
		t.Fatal(err)
	}
	if is.Counts.Analysed != was.Counts.Analysed || *is.Headline.Share != *was.Headline.Share || len(is.Anglers) != 3 {
		t.Errorf("the result has %d fish, share %v and %d anglers; the club's %d, %v", is.Counts.Analysed, *is.Headline.Share, len(is.Anglers), was.Counts.Analysed, *was.Headline.Share)
	}
	if !slices.ContainsFunc(v.Findings, func(f Finding) bool { return f.Part == partResult && f.Outcome == CannotTell }) {
		t.Error("it is not said that the result cannot be computed from the rows")
	}
}

// Everything that is rarer in a trial is published and agrees, and changed it does not.
func TestRarerRecordsAgree(t *testing.T) {
	w := playTrial(t, smallTrial(), (*played).moreOfOne)
	p := readBack(t, written(t, w.publish()))
	agreed(t, p)
	if !bytes.Equal(p.Result, w.source.Closing.Result) {
		t.Error("the result is another one")
	}
	if len(p.Disputes) != 1 || p.Disputes[0].Outcome != trial.Exclude || len(p.Disputes[0].Reasons) != 1 {
		t.Errorf("disputes %+v", p.Disputes)
	}
	for name, forge := range map[string]func(u *unpacked){
		"a dispute": func(u *unpacked) { u.Disputes = nil },
		"a disputed fish": func(u *unpacked) {
			u.fish[slices.IndexFunc(u.fish, func(f Fish) bool { return f.Disputed })].Disputed = false
		},
		"a fish that only a dispute leaves out": func(u *unpacked) {
			u.fish[slices.IndexFunc(u.fish, func(f Fish) bool { return f.Exclusion == trial.ExcludeLost })].DisputedOnly = true
		},
		"a lost unit": func(u *unpacked) {
			u.units[slices.IndexFunc(u.units, func(r Unit) bool { return r.Lost })].Lost = false
		},
		"a coin": func(u *unpacked) {
			u.units[slices.IndexFunc(u.units, func(r Unit) bool { return r.DrawnBy == trial.ByCoin })].DrawnBy = trial.BySlip
		},
		"an outing by mistake": func(u *unpacked) {
			u.outings[slices.IndexFunc(u.outings, func(o Outing) bool { return o.Void })].Void = false
		},
		"the end of an outing": func(u *unpacked) {
			u.outings[slices.IndexFunc(u.outings, func(o Outing) bool { return o.End == "tired" })].NotLogged = 1
		},
	} {
		t.Run(name, func(t *testing.T) {
			u := unpack(t, p)
			forge(u)
			v := verified(t, readBack(t, u.pack(t)))
			if !slices.ContainsFunc(v.Findings, func(f Finding) bool {
				return (f.Part == partRecords || f.Part == partDerived) && f.Outcome == Disagrees
			}) {
				t.Errorf("nothing disagrees:\n%s", told(v))
			}
		})
	}
}

// Who left stands beside the records that stayed.
func TestWhoLeftIsTold(t *testing.T) {
	w := playTrial(t, smallTrial(), func(w *played) { w.leaves(2) })
	p := readBack(t, written(t, w.publish()))
	agreed(t, p)
	if left := keep(p.Anglers, func(a Angler) bool { return a.Left }); len(left) != 2 || !bytes.Equal(p.Result, w.source.Closing.Result) {
		t.Errorf("%d are said to have left; the result is the club's: %v", len(left), bytes.Equal(p.Result, w.source.Closing.Result))
	}
}

func TestTooFewToLeaveOut(t *testing.T) {
	with := playing{anglers: 2, outings: 1, blocks: 2, closed: []int{1}}
	w := playUncorrected(t, with)
	if _, err := Publish(w.source, Publishing{Licence: CC0, Edition: 1}); trial.KindOf(err) != trial.Conflict {
		t.Errorf("got %v, want a conflict", err)
	}
}

// A week in which one angler fished alone and a species that one caught are not told, in no table, and not by the ledger either. The result is
// that of the rows as they are shown, and what does not hang on week or species is the club's own.
func TestWhatFewShareIsLeftOut(t *testing.T) {
	with := usualTrial()
	with.rare, with.alone, with.cells = true, true, true
	w := play(t, with)
	archive := written(t, w.publish())
	p := readBack(t, archive)
	agreed(t, p)
	alone, weeks := "", map[string]int{}
	for _, a := range w.anglers {
		seen := map[string]bool{}
		for _, o := range a.Records.Outings {
			seen[weekOf(o.StartedAt)] = true
		}
		for week := range seen {
			weeks[week]++
		}
	}
	for week, n := range weeks {
		if n == 1 {
			alone = week
		}
	}
	if weeks[alone] != 1 {
		t.Fatal("no week of one angler")
	}
	for name, text := range filesOf(t, archive) {
		for _, tell := range []string{alone, "Salmo trutta", "54.2N"} {
			if strings.Contains(text, tell) && !(tell == "Salmo trutta" && (name == filePlan || name == fileReport)) {
				t.Errorf("%s tells of %s", name, tell)
			}
		}
	}
	u := unpack(t, p)
	hidden := 0
	for _, f := range u.fish {
		if slices.Contains(f.Withheld, "species") || slices.Contains(f.Withheld, "week") {
			hidden++
		}
	}
	if hidden == 0 || hidden > len(u.fish)/3 {
		t.Errorf("%d of %d fish have something left out", hidden, len(u.fish))
	}
	was, _ := analysis.Decode(w.source.Closing.Result)
	is, err := analysis.Decode(p.Result)
	if err != nil || is.Counts.Analysed != was.Counts.Analysed || *is.Headline.LogOdds != *was.Headline.LogOdds {
		t.Errorf("the published answer is another one (%v)", err)
	}
}

var (
	finerTime = regexp.MustCompile(`[0-9]{4}-[0-9]{2}-[0-9]{2}T|[0-9]{2}:[0-9]{2}:[0-9]{2}`)
	sentIDs   = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-`)
)

// No file holds a name, a water, a note, the minute of a record, or an id that tells one.
func TestAPackageHoldsNoNameAndNoTime(t *testing.T) {
	w := play(t, usualTrial())
	for name, text := range filesOf(t, written(t, w.publish())) {
		for _, secret := range []string{"Mill Reach", "Alder Pool", "Wilma Rook", "Tam Fenner", "old mill", "calc'", "under the alder"} {
			if strings.Contains(text, secret) {
				t.Errorf("%s holds %q", name, secret)
			}
		}
		for _, id := range sentIDs.FindAllString(text, -1) {
			if !strings.HasPrefix(id, "00000000-0000-7") {
				t.Errorf("%s holds the id %s, which tells a millisecond", name, id)
			}
		}
		if name == "ledger.csv" {
			text = regexp.MustCompile(`\{""at"":[^}]*\}`).ReplaceAllString(text, "") // the organiser's own steps are public
		}
		if found := finerTime.FindString(text); found != "" && name != fileReport {
			t.Errorf("%s holds the time %s", name, found)
		}
	}
}

// RFC 4180: a header, CRLF, quotes doubled, as many values in every row. What a spreadsheet program would take for a formula has an
// apostrophe before it (OWASP, CSV injection), and is read back without.
func TestTablesAreCSV(t *testing.T) {
	p := play(t, smallTrial()).publish()
	files := filesOf(t, written(t, p))
	for name, text := range files {
		if !strings.HasSuffix(name, ".csv") {
			continue
		}
		if strings.Count(strings.ReplaceAll(text, "\r\n", ""), "\r") > 0 || !strings.HasSuffix(text, "\r\n") {
			t.Errorf("%s has other line ends than CRLF", name)
		}
		records, err := csv.NewReader(strings.NewReader(text)).ReadAll()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for _, record := range records {
			for _, value := range record {
				if value != "" && strings.ContainsAny(value[:1], "=+-@\t") && !signedNumber.MatchString(value) {
					t.Errorf("%s holds %q", name, value)
				}
			}
		}
	}
	if !strings.Contains(files["amendments.csv"], "'=tapped the wrong fly") {
		t.Error("a formula is not guarded")
	}
	reasons := all(t, readBack(t, written(t, p)).Amendments)
	if !slices.ContainsFunc(reasons, func(a Amendment) bool { return a.Reason == "=tapped the wrong fly" }) ||
		!slices.ContainsFunc(reasons, func(a Amendment) bool { return a.Reason == "rigged the wrong way round\nand seen at the swap" }) {
		t.Errorf("reasons are read back otherwise: %+v", reasons)
	}
	named := slices.IndexFunc(reasons, func(a Amendment) bool { return slices.Contains(a.Withheld, "reason") })
	if named < 0 || reasons[named].Reason != "" {
		t.Error("the reason that names somebody is not left out")
	}
}

func TestPublishingRefuses(t *testing.T) {
	w := play(t, smallTrial())
	for _, c := range []struct {
		name string
		kind trial.Kind
		with func(*Source, *Publishing)
	}{
		{"an unknown licence", trial.Invalid, func(_ *Source, o *Publishing) { o.Licence = "my own" }},
		{"a trial that is closed", trial.Conflict, func(s *Source, _ *Publishing) { s.Trial.State = trial.Closed }},
		{"a trial without its result", trial.Conflict, func(s *Source, _ *Publishing) { s.Closing.State = trial.Queued }},
	} {
		src, order := w.source, Publishing{Licence: CC0, Edition: 1}
		c.with(&src, &order)
		if _, err := Publish(src, order); trial.KindOf(err) != c.kind {
			t.Errorf("%s: got %v", c.name, err)
		}
	}
}

// What arrived after the records were fixed is in no table, and the rows give the result all the same.
func TestWhatCameAfterLockingIsNotPublished(t *testing.T) {
	w := play(t, smallTrial())
	a := &w.anglers[0]
	late := a.Records.Periods[len(a.Records.Periods)-1]
	w.now = w.now.Add(24 * time.Hour)
	w.catch(0, late, late.StartedAt.Add(time.Minute))
	a.Records.Catches[len(a.Records.Catches)-1].AfterLock = true
	w.checkpoint()
	p := readBack(t, written(t, w.publish()))
	agreed(t, p)
	if fish := all(t, p.Catches); slices.ContainsFunc(fish, func(f Fish) bool { return f.AfterLock }) {
		t.Error("a fish that arrived after locking is published")
	}
	if !bytes.Equal(p.Result, w.source.Closing.Result) {
		t.Error("the result is another one")
	}

	// After an erasure the closing analysis is made anew, on a later checkpoint: the fish is among its records, and not analysed.
	w.close()
	p = readBack(t, written(t, w.publish()))
	agreed(t, p)
	if fish := all(t, p.Catches); !slices.ContainsFunc(fish, func(f Fish) bool { return f.Exclusion == trial.AfterLock }) {
		t.Error("a fish that the later analysis counted as after_lock is not published")
	}
}
