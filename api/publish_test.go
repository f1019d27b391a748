package api_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"evenrig/api"
	"evenrig/openapi"
	"evenrig/service/trial"
)

// publishing takes a trial of three anglers from the lock to everybody, into another club, and round again.
func publishing(t *testing.T, c *club) {
	ctx := t.Context()
	w := c.w
	e := c.opened(c.ruleSheet())
	open := allTicks
	open.PublishOpen = true
	var rods []*rod
	for i, name := range []string{"Egon", "Frida", "Gerd"} {
		rods = append(rods, e.joinWith(name, open))
		fishOneBlock(t, rods[i], i)
	}
	if units := ok[*openapi.ListDrawResponse](t, 200)(e.scrutiny.ListDrawWithResponse(ctx, e.trial)).JSON200.Items; len(units) != 3 || units[0].First != nil || units[0].OpenedAt == nil {
		t.Errorf("the draw has handed out %+v", units)
	}
	e.move("closed")
	w.wait(2 * time.Hour)
	e.move("locked")
	ask := openapi.NewPublication{Licence: "CC-BY-4.0", NameClub: true, Remarks: ptr("A wet season.")}
	if early := ok[*openapi.PublishTrialResponse](t, 409)(e.organiser.PublishTrialWithResponse(ctx, e.trial, ask)); early.ApplicationProblemJSON409.Code != "analysis.queued" {
		t.Errorf("published before its result: %s", early.Body)
	}
	stranger := w.person("")
	ok[*openapi.GetPublishedResponse](t, 404)(stranger.GetPublishedWithResponse(ctx, e.trial))
	if err := w.service.Analyse(ctx, trial.ID(e.trial), 1); err != nil {
		t.Fatal(err)
	}
	asked := ok[*openapi.PublishTrialResponse](t, 202)(e.organiser.PublishTrialWithResponse(ctx, e.trial, ask))
	if asked.JSON202.Edition != 1 || asked.JSON202.State != openapi.EditionStateQueued {
		t.Errorf("asked for: %s", asked.Body)
	}
	if err := w.service.MakePackage(ctx, trial.ID(e.trial), 1); err != nil {
		t.Fatal(err)
	}
	listed := ok[*openapi.ListEditionsResponse](t, 200)(e.scrutiny.ListEditionsWithResponse(ctx, e.trial)).JSON200.Items
	if len(listed) != 1 || listed[0].State != openapi.EditionStateStanding || listed[0].Package == nil {
		t.Fatalf("the editions are %+v", listed)
	}

	seen := ok[*openapi.GetPublishedResponse](t, 200)(stranger.GetPublishedWithResponse(ctx, e.trial)).JSON200
	if seen.Edition != 1 || *seen.Package != *listed[0].Package || seen.Fish != 9 || seen.Licence != ask.Licence || !strings.HasPrefix(seen.LicenceURL, "https://creativecommons.org/") || seen.Sentence == "" {
		t.Errorf("published as %+v", seen)
	}
	pack := ok[*openapi.GetPackageResponse](t, 200)(stranger.GetPackageWithResponse(ctx, e.trial, nil))
	if sum := sha256.Sum256(pack.Body); hex.EncodeToString(sum[:]) != *seen.Package || pack.HTTPResponse.Header.Get("ETag") != `"`+*seen.Package+`"` {
		t.Errorf("the package has the SHA-256 %x and the ETag %s, said to be %s", sum, pack.HTTPResponse.Header.Get("ETag"), *seen.Package)
	}
	partsOf(t, e, stranger, pack.Body)
	result := ok[*openapi.GetPublishedResultResponse](t, 200)(stranger.GetPublishedResultWithResponse(ctx, e.trial, nil))
	if first := ok[*openapi.GetAnalysisResponse](t, 200)(e.organiser.GetAnalysisWithResponse(ctx, e.trial, 1, nil)); !bytes.Equal(result.Body, first.Body) {
		t.Error("the published result is not the closing analysis's")
	}
	report := ok[*openapi.GetPublishedReportResponse](t, 200)(stranger.GetPublishedReportWithResponse(ctx, e.trial, nil))
	for _, name := range []string{"Egon", "Frida", "Gerd", "Upper Wend"} {
		if bytes.Contains(report.Body, []byte(name)) {
			t.Errorf("the report holds %s", name)
		}
	}
	book := ok[*openapi.GetPackageWorkbookResponse](t, 200)(stranger.GetPackageWorkbookWithResponse(ctx, e.trial))
	if !bytes.HasPrefix(book.Body, []byte("PK")) {
		t.Errorf("the workbook begins with %q", book.Body[:min(4, len(book.Body))])
	}
	ok[*openapi.GetPackageWorkbookResponse](t, 404)(stranger.GetPackageWorkbookWithResponse(ctx, newID()))
	ownFish(t, rods[0], stranger)
	elsewhere(t, w, e, pack.Body)
}

// ownFish looks for the records of an angler by what the service once gave him.
func ownFish(t *testing.T, r *rod, stranger *person) {
	t.Helper()
	ctx := t.Context()
	find := func(status int, text string) *openapi.FindFishResponse {
		t.Helper()
		return ok[*openapi.FindFishResponse](t, status)(stranger.FindFishWithTextBodyWithResponse(ctx, r.e.trial, text))
	}
	copied := ok[*openapi.ExportOwnDataResponse](t, 200)(r.ExportOwnDataWithResponse(ctx, nil))
	var fish openapi.FoundFish
	for _, f := range find(200, string(copied.Body)).JSON200.Items {
		if !f.Found || f.Proven == nil || !*f.Proven {
			t.Errorf("one's own data finds %+v", f)
		}
		if f.Kind == "catch" {
			fish = f
		}
	}
	if one := find(200, fish.Receipt[:16]).JSON200.Items; len(one) != 1 || one[0].Entry != fish.Entry || one[0].Proven != nil {
		t.Errorf("a code finds %+v, want %+v", one, fish)
	}
	if none := find(200, strings.Repeat("0", 16)).JSON200.Items; len(none) != 1 || none[0].Found || none[0].Text == "" {
		t.Errorf("digits of nothing find %+v", none)
	}
	if bad := find(422, "a trout"); bad.ApplicationProblemJSON422.Code != "receipt.invalid" {
		t.Errorf("what is no receipt is answered %s", bad.Body)
	}
	ok[*openapi.FindFishResponse](t, 415)(stranger.FindFishWithBodyWithResponse(ctx, r.e.trial, "application/json", strings.NewReader("{}")))
	ok[*openapi.FindFishResponse](t, 404)(stranger.FindFishWithTextBodyWithResponse(ctx, newID(), strings.Repeat("0", 16)))
}

// partsOf reads the package in parts, and asks whether it is still the same.
func partsOf(t *testing.T, e *contest, stranger *person, whole []byte) {
	path := fmt.Sprintf("/v1/published/%s/package.zip", e.trial)
	part := stranger.send(http.MethodGet, path, "", "Range", "bytes=10-19")
	if part.status != 206 || !bytes.Equal(part.body, whole[10:20]) {
		t.Errorf("bytes 10 to 19 are answered %d %q", part.status, part.body)
	}
	last := stranger.send(http.MethodGet, path, "", "Range", "bytes=-5")
	if last.status != 206 || !bytes.Equal(last.body, whole[len(whole)-5:]) {
		t.Errorf("the last 5 bytes are answered %d %q", last.status, last.body)
	}
	if same := stranger.send(http.MethodGet, path, "", "If-None-Match", part.header.Get("ETag")); same.status != 304 || len(same.body) > 0 {
		t.Errorf("a package that the reader has is answered %d", same.status)
	}
	if none := stranger.send(http.MethodGet, path, "", "Range", "bytes=999999999-"); none.status != 416 || none.problem(t).Code != "range.none" {
		t.Errorf("a part that is not there is answered %d %s", none.status, none.body)
	}
	if other := stranger.send(http.MethodGet, path+"?edition=2", ""); other.status != 404 {
		t.Errorf("an edition that was never made is answered %d", other.status)
	}
}

// elsewhere reads the package into another club, which then repeats the trial.
func elsewhere(t *testing.T, w *world, e *contest, pack []byte) {
	ctx := t.Context()
	other := w.newClub("Sillet Anglers")
	read := func(status int) *openapi.ReadPackageResponse {
		return ok[*openapi.ReadPackageResponse](t, status)(other.organiser.ReadPackageWithBodyWithResponse(ctx, other.id, "application/zip", bytes.NewReader(pack)))
	}
	copied := read(201).JSON201
	if o := copied.Trial.Origin; o == nil || o.Trial != e.trial || o.Edition != 1 || len(copied.Findings) < 5 {
		t.Errorf("read as %+v", copied)
	}
	if again := read(200); again.JSON200.Trial.ID != copied.Trial.ID {
		t.Errorf("read again: %s", again.Body)
	}
	broken := bytes.Clone(pack)
	broken[len(broken)/2]++
	ok[*openapi.ReadPackageResponse](t, 422)(other.organiser.ReadPackageWithBodyWithResponse(ctx, other.id, "application/zip", bytes.NewReader(broken)))
	ok[*openapi.ReadPackageResponse](t, 415)(other.organiser.ReadPackageWithBodyWithResponse(ctx, other.id, "application/json", strings.NewReader("{}")))
	ok[*openapi.PublishTrialResponse](t, 409)(other.organiser.PublishTrialWithResponse(ctx, copied.Trial.ID, openapi.NewPublication{Licence: "CC0-1.0"}))

	ok[*openapi.CreateTrialResponse](t, 422)(other.organiser.CreateTrialWithResponse(ctx, other.id, openapi.NewTrial{}))
	draft := ok[*openapi.CreateTrialResponse](t, 201)(other.organiser.CreateTrialWithResponse(ctx, other.id, openapi.NewTrial{RepeatOf: &copied.Trial.ID})).JSON201
	rules := ok[*openapi.GetProtocolResponse](t, 200)(other.organiser.GetProtocolWithResponse(ctx, draft.ID)).JSON200
	if rules.RepeatOf == nil || *rules.RepeatOf != e.trial || len(rules.Waters) != 0 {
		t.Errorf("the repeat is drafted as %+v", rules)
	}
}

// Whoever asks without a token is limited by his address at what costs much, and at nothing else.
func TestStrangersAreLimitedAtWhatCostsMuch(t *testing.T) {
	w := newEmptyWorld(t, api.Options{Limits: api.Limits{Costly: api.Rate{Burst: 2, PerMinute: .1}}})
	stranger := w.person("")
	book := fmt.Sprintf("/v1/published/%s/package.xlsx", newID())
	for i, want := range []int{404, 404, 429, 429} {
		if got := stranger.send(http.MethodGet, book, ""); got.status != want {
			t.Errorf("workbook %d is answered %d %s, want %d", i+1, got.status, got.body, want)
		}
	}
	if got := stranger.send(http.MethodGet, fmt.Sprintf("/v1/published/%s", newID()), ""); got.status != 404 {
		t.Errorf("the page is answered %d %s", got.status, got.body)
	}
}
