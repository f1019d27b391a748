package api_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"net/http"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// A whole trial by the generated client: every answer is compared with the contract on its way, and at the end every
// operation of the document has been answered well.
func TestOneTrialFromDraftToReport(t *testing.T) {
	w := newWorld(t)
	ctx := t.Context()
	stranger := w.person("")
	ok[*openapi.GetHealthResponse](t, 200)(stranger.GetHealthWithResponse(ctx))
	ok[*openapi.GetReadinessResponse](t, 200)(stranger.GetReadinessWithResponse(ctx))
	contract := ok[*openapi.GetContractResponse](t, 200)(stranger.GetContractWithResponse(ctx))
	if !bytes.Equal(contract.Body, openapi.Spec) {
		t.Error("/openapi.yaml is not the document that the program was built from")
	}

	c := w.newClub("Wend Fly Fishers")
	administration(t, w, c)
	accounts(t, w, c)
	becomingFirst(t)
	e := c.opened(c.ruleSheet())
	drawNight(t, e)
	anglers := []*rod{e.join("Bert"), e.join("Cleo"), e.join("Dora")}
	for i, r := range anglers {
		fishOneBlock(t, r, i)
	}
	reading(t, e, anglers[0])
	correcting(t, e, anglers[0])
	caring(t, e, anglers[1])
	amending(t, e)
	disputing(t, e, anglers)
	ok[*openapi.WithdrawResponse](t, 204)(anglers[2].WithdrawWithResponse(ctx, e.trial, openapi.Withdrawal{Erase: true}))

	e.move("paused")
	e.move("open")
	e.move("closed")
	w.wait(2 * time.Hour)
	locked := e.move("locked")
	if locked.Seed == nil || locked.Analysis == nil || locked.Hidden {
		t.Fatalf("a locked trial shows its seed and the address of its analysis: %+v", locked)
	}
	registered := ok[*openapi.ListRegisterResponse](t, 200)(stranger.ListRegisterWithResponse(ctx, nil))
	if items := registered.JSON200.Items; len(items) == 0 || items[len(items)-1].Trial != e.trial || items[len(items)-1].Commitment == nil {
		t.Errorf("the register shows every registered trial to anybody: %s", registered.Body)
	}
	results(t, e, *locked.Analysis)
	importing(t, c)
	publishing(t, c)
	paperDay(t, c)

	for path, item := range document().Paths.Map() {
		for method, op := range item.Operations() {
			well := false
			for status := range op.Responses.Map() {
				_, seen := answered.Load(op.OperationID + " " + status)
				well = well || seen && status < "4"
			}
			if !well {
				t.Errorf("%s %s was never answered well under the contract's eyes", method, path)
			}
		}
	}
}

// drawNight gives words for the draw and closes their list.
func drawNight(t *testing.T, e *contest) {
	ctx := t.Context()
	ok[*openapi.PutWordResponse](t, 201)(e.scrutiny.PutWordWithResponse(ctx, e.trial, openapi.NewWord{Word: "Kingfisher"}))
	ok[*openapi.PutWordResponse](t, 200)(e.scrutiny.PutWordWithResponse(ctx, e.trial, openapi.NewWord{Word: "Kingfisher"}))
	ok[*openapi.PutWordResponse](t, 422)(e.organiser.PutWordWithResponse(ctx, e.trial, openapi.NewWord{Word: "two words"}))
	ok[*openapi.CloseDrawNightResponse](t, 403)(e.scrutiny.CloseDrawNightWithResponse(ctx, e.trial))
	ok[*openapi.CloseDrawNightResponse](t, 200)(e.organiser.CloseDrawNightWithResponse(ctx, e.trial))
	late := ok[*openapi.PutWordResponse](t, 409)(e.organiser.PutWordWithResponse(ctx, e.trial, openapi.NewWord{Word: "Alder"}))
	if late.ApplicationProblemJSON409.Code != "words.closed" {
		t.Errorf("a word after closing: %s", late.Body)
	}
	listed := ok[*openapi.GetDrawNightResponse](t, 200)(e.organiser.GetDrawNightWithResponse(ctx, e.trial)).JSON200
	if len(listed.Words) != 1 || listed.Words[0].Mine || listed.ClosedAt == nil {
		t.Errorf("the list is %+v", listed)
	}
}

func administration(t *testing.T, w *world, c *club) {
	ctx := t.Context()
	me := ok[*openapi.GetMeResponse](t, 200)(w.admin.GetMeWithResponse(ctx))
	if !me.JSON200.Admin || len(me.JSON200.Clubs) != 1 || me.JSON200.Clubs[0].Role != openapi.RoleOrganiser {
		t.Errorf("the admin who founded a club is its organiser: %+v", me.JSON200)
	}
	second := ok[*openapi.CreateTokenResponse](t, 201)(w.admin.CreateTokenWithResponse(ctx, openapi.NewToken{Name: "second phone"}))
	ok[*openapi.GetMeResponse](t, 200)(w.person(second.JSON201.Secret).GetMeWithResponse(ctx))
	if tokens := ok[*openapi.ListTokensResponse](t, 200)(w.admin.ListTokensWithResponse(ctx)); len(tokens.JSON200.Items) != 2 {
		t.Errorf("two tokens are listed: %s", tokens.Body)
	}
	ok[*openapi.RevokeTokenResponse](t, 204)(w.admin.RevokeTokenWithResponse(ctx, second.JSON201.ID))
	ok[*openapi.GetMeResponse](t, 401)(w.person(second.JSON201.Secret).GetMeWithResponse(ctx))

	ok[*openapi.ListClubsResponse](t, 200)(c.organiser.ListClubsWithResponse(ctx))
	ok[*openapi.GetClubResponse](t, 200)(c.organiser.GetClubWithResponse(ctx, c.id))
	inv := ok[*openapi.CreateInvitationResponse](t, 201)(c.organiser.CreateInvitationWithResponse(ctx, c.id, openapi.NewInvitation{Role: "angler"}))
	list := ok[*openapi.ListInvitationsResponse](t, 200)(c.organiser.ListInvitationsWithResponse(ctx, c.id))
	if bytes.Contains(list.Body, []byte(inv.JSON201.Secret)) {
		t.Error("a listed invitation shows its secret")
	}
	joined := ok[*openapi.AcceptInvitationResponse](t, 409)(w.admin.AcceptInvitationWithResponse(ctx, openapi.AcceptInvitation{Secret: inv.JSON201.Secret}))
	if joined.ApplicationProblemJSON409.Code != "membership.exists" {
		t.Errorf("a member who accepts again: %s", joined.Body)
	}
	ok[*openapi.RevokeInvitationResponse](t, 204)(c.organiser.RevokeInvitationWithResponse(ctx, c.id, inv.JSON201.ID))
	name := "Late Lou"
	ok[*openapi.AcceptInvitationResponse](t, 404)(w.person("").AcceptInvitationWithResponse(ctx, openapi.AcceptInvitation{Secret: inv.JSON201.Secret, Name: &name}))

	var names []string
	for path := "/v1/clubs/" + c.id.String() + "/members?limit=2"; path != ""; {
		a := c.organiser.send(http.MethodGet, path, "")
		var page openapi.MemberList
		if err := json.Unmarshal(a.body, &page); err != nil || a.status != 200 || len(page.Items) > 2 {
			t.Fatalf("page %s answered %d: %s", path, a.status, a.body)
		}
		for _, m := range page.Items {
			names = append(names, m.Name)
		}
		path = nextPage(a.header)
	}
	if len(names) != 3 {
		t.Errorf("the pages have the members %q, want 3 of them", names)
	}

	e := c.drafted(c.ruleSheet())
	first := ok[*openapi.GetProtocolResponse](t, 200)(c.organiser.GetProtocolWithResponse(ctx, e.trial))
	p := *first.JSON200
	p.Title = "Collar, second thoughts"
	tag := first.HTTPResponse.Header.Get("ETag")
	put := ok[*openapi.PutProtocolResponse](t, 200)(c.organiser.PutProtocolWithResponse(ctx, e.trial, &openapi.PutProtocolParams{IfMatch: tag}, p))
	if put.HTTPResponse.Header.Get("ETag") == tag {
		t.Error("a rewritten protocol has a new ETag")
	}
	ok[*openapi.PutProtocolResponse](t, 412)(c.organiser.PutProtocolWithResponse(ctx, e.trial, &openapi.PutProtocolParams{IfMatch: tag}, p))
	reason := "drafted twice by mistake"
	ok[*openapi.MoveTrialResponse](t, 200)(c.organiser.MoveTrialWithResponse(ctx, e.trial, openapi.TrialMove{State: "abandoned", Reason: &reason}))
	if trials := ok[*openapi.ListTrialsResponse](t, 200)(c.scrutiny.ListTrialsWithResponse(ctx, c.id, nil)); len(trials.JSON200.Items) != 1 {
		t.Errorf("an abandoned trial stays listed: %s", trials.Body)
	}
}

func nextPage(h http.Header) string {
	link := regexp.MustCompile(`^<(.*)>; rel="next"$`).FindStringSubmatch(h.Get("Link"))
	if link == nil {
		return ""
	}
	return link[1]
}

// fishOneBlock takes an angler through an outing of one block of two fish each half, one of them sent in a batch.
func fishOneBlock(t *testing.T, r *rod, n int) {
	ctx := t.Context()
	outing, unit, first := r.inAPeriod()
	r.land(first.ID, []string{"C", "N"}[n%2])
	r.w.wait(3 * time.Minute)
	batch := openapi.BatchCatch{ID: newID(), Period: first.ID, TakenPattern: ptr("C"), Species: "Thymallus thymallus", CaughtAt: r.w.clock()}
	sent := ok[*openapi.SubmitCatchesResponse](t, 200)(r.SubmitCatchesWithResponse(ctx, r.e.trial, []openapi.BatchCatch{batch}))
	if o := (*sent.JSON200)[0]; o.Status != openapi.BatchOutcomeStatusCreated || o.Receipt == nil {
		t.Errorf("a batch of one: %s", sent.Body)
	}
	period := ok[*openapi.GetPeriodResponse](t, 200)(r.GetPeriodWithResponse(ctx, r.e.trial, first.ID))
	if s := period.JSON200.Swap; s.Fish != 2 || *s.Of != 2 || !s.Due {
		t.Errorf("after 2 fish the swap is due: %+v", s)
	}
	now := r.w.clock()
	ended := openapi.NewPeriodEnd{SwapNowAt: &now, EndedAt: r.w.wait(3 * time.Minute), Reason: "swap_rule"}
	ok[*openapi.PutPeriodEndResponse](t, 201)(r.PutPeriodEndWithResponse(ctx, r.e.trial, first.ID, ended))
	ok[*openapi.PutPeriodEndResponse](t, 200)(r.PutPeriodEndWithResponse(ctx, r.e.trial, first.ID, ended))
	second := r.begin(outing, unit.ID, 2)
	if second.Lower != first.Upper || second.Upper != first.Lower {
		t.Errorf("the second half has the flies changed over: %+v after %+v", second, first)
	}
	r.w.wait(5 * time.Minute)
	r.land(second.ID, "N")
	deviation := newID()
	report := openapi.NewDeviation{Outing: outing, Period: &second.ID, Kind: "fly_lost", From: r.w.clock()}
	ok[*openapi.PutDeviationResponse](t, 201)(r.PutDeviationWithResponse(ctx, r.e.trial, deviation, report))
	ok[*openapi.PutDeviationResponse](t, 200)(r.PutDeviationWithResponse(ctx, r.e.trial, deviation, report))
	ok[*openapi.GetDeviationResponse](t, 200)(r.GetDeviationWithResponse(ctx, r.e.trial, deviation))
	ok[*openapi.ListDeviationsResponse](t, 200)(r.ListDeviationsWithResponse(ctx, r.e.trial, outing))
	r.w.wait(20 * time.Minute)
	end := openapi.NewOutingEnd{EndedAt: r.w.clock(), Reason: "planned", NotLogged: 1}
	ok[*openapi.PutOutingEndResponse](t, 201)(r.PutOutingEndWithResponse(ctx, r.e.trial, outing, end))
	ok[*openapi.PutOutingEndResponse](t, 200)(r.PutOutingEndWithResponse(ctx, r.e.trial, outing, end))
	ok[*openapi.ListPeriodsResponse](t, 200)(r.ListPeriodsWithResponse(ctx, r.e.trial, outing))
	if back := ok[*openapi.GetOutingResponse](t, 200)(r.GetOutingWithResponse(ctx, r.e.trial, outing)); back.JSON200.End == nil || back.JSON200.Welfare != openapi.WelfareStateFine {
		t.Errorf("an ended outing at 11.5 C: %s", back.Body)
	}
}

func reading(t *testing.T, e *contest, r *rod) {
	ctx := t.Context()
	if seen := ok[*openapi.GetTrialResponse](t, 200)(e.scrutiny.GetTrialWithResponse(ctx, e.trial)); !seen.JSON200.Hidden || seen.JSON200.Seed != nil || seen.JSON200.CannotHideEffect {
		t.Errorf("an open trial with 3 anglers hides its effect and seed: %s", seen.Body)
	}
	ok[*openapi.GetNoteResponse](t, 200)(e.scrutiny.GetNoteWithResponse(ctx, e.trial))
	ok[*openapi.ListLooksResponse](t, 200)(r.ListLooksWithResponse(ctx, e.trial))
	question := ok[*openapi.GetUsualSizeResponse](t, 200)(e.organiser.GetUsualSizeWithResponse(ctx))
	ok[*openapi.PlanSizeResponse](t, 200)(e.organiser.PlanSizeWithResponse(ctx, *question.JSON200))
	progress := ok[*openapi.GetProgressResponse](t, 200)(e.organiser.GetProgressWithResponse(ctx, e.trial))
	if p := progress.JSON200; p.Anglers != 3 || p.Catches != 9 || p.Blocks != 3 {
		t.Errorf("progress is %s, want 3 anglers, 9 catches, 3 blocks", progress.Body)
	}
	ok[*openapi.ListCheckpointsResponse](t, 200)(e.scrutiny.ListCheckpointsWithResponse(ctx, e.trial))
	ok[*openapi.ListEnrolmentsResponse](t, 200)(e.organiser.ListEnrolmentsWithResponse(ctx, e.trial))
	ok[*openapi.ListEnrolmentsResponse](t, 403)(e.scrutiny.ListEnrolmentsWithResponse(ctx, e.trial))
	ok[*openapi.GetEnrolmentResponse](t, 200)(r.GetEnrolmentWithResponse(ctx, e.trial))
	ok[*openapi.PutGuessResponse](t, 204)(r.PutGuessWithResponse(ctx, e.trial, openapi.NewGuess{Share: 60}))
	ok[*openapi.ListGuessesResponse](t, 200)(r.ListGuessesWithResponse(ctx, e.trial))
	ok[*openapi.ListOutingsResponse](t, 200)(r.ListOutingsWithResponse(ctx, e.trial, nil))
	ok[*openapi.ListUnitsResponse](t, 200)(r.ListUnitsWithResponse(ctx, e.trial, nil))
	limit := 2
	if own := ok[*openapi.ListCatchesResponse](t, 200)(r.ListCatchesWithResponse(ctx, e.trial, &openapi.ListCatchesParams{Limit: &limit})); len(own.JSON200.Items) != 2 || nextPage(own.HTTPResponse.Header) == "" {
		t.Errorf("a page of 2 of 3 fish has a next one: %s", own.Body)
	}
	if hidden := ok[*openapi.ExportCatchesResponse](t, 409)(e.organiser.ExportCatchesWithResponse(ctx, e.trial)); hidden.ApplicationProblemJSON409.Code != "trial.hidden" {
		t.Errorf("a running trial's table: %s", hidden.Body)
	}
	if early := ok[*openapi.RequestAnalysisResponse](t, 409)(e.organiser.RequestAnalysisWithResponse(ctx, e.trial)); early.ApplicationProblemJSON409.Code != "look.not_due" {
		t.Errorf("an analysis of a running trial: %s", early.Body)
	}
}

func correcting(t *testing.T, e *contest, r *rod) {
	ctx := t.Context()
	fish := ok[*openapi.ListCatchesResponse](t, 200)(r.ListCatchesWithResponse(ctx, e.trial, nil)).JSON200.Items[0]
	first := `"1"`
	amended := ok[*openapi.AmendCatchResponse](t, 200)(r.AmendCatchWithResponse(ctx, e.trial, fish.ID, &openapi.AmendCatchParams{IfMatch: first}, openapi.CatchAmendment{
		Reason: "measured from the tail", Length: openapi.TakeAway[openapi.Measure](), TakenPattern: openapi.TakeAway[string](), TakenPosition: openapi.Set("lower"),
	}))
	if c := amended.JSON200; c.Version != 2 || c.Length != nil || c.TakenPattern != nil || *c.TakenPosition != openapi.PositionLower || c.Derived.Position != openapi.PositionLower {
		t.Errorf("a correction that takes away length and pattern and sets the position: %s", amended.Body)
	}
	ok[*openapi.AmendCatchResponse](t, 412)(r.AmendCatchWithResponse(ctx, e.trial, fish.ID, &openapi.AmendCatchParams{IfMatch: first}, openapi.CatchAmendment{Reason: "again", Void: ptr(true)}))
	list := ok[*openapi.ListCatchAmendmentsResponse](t, 200)(r.ListCatchAmendmentsWithResponse(ctx, e.trial, fish.ID))
	if items := list.JSON200.Items; len(items) != 1 || items[0].Old["length"] == nil || items[0].New["length"] != nil {
		t.Errorf("the list of corrections keeps the old length: %s", list.Body)
	}
	period := ok[*openapi.GetPeriodResponse](t, 200)(r.GetPeriodWithResponse(ctx, e.trial, fish.Period)).JSON200
	other := string(trial.Arrangement(period.Fished).Other())
	turned := ok[*openapi.AmendPeriodResponse](t, 200)(r.AmendPeriodWithResponse(ctx, e.trial, fish.Period, &openapi.AmendPeriodParams{IfMatch: first}, openapi.PeriodAmendment{
		Reason: "the flies were the other way round", Fished: &other,
	}))
	if p := turned.JSON200; string(p.Fished) != other || p.Drawn != period.Drawn || p.Lower != period.Upper {
		t.Errorf("a correction turns what was fished and leaves what was drawn: %s", turned.Body)
	}
	ok[*openapi.ListPeriodAmendmentsResponse](t, 200)(r.ListPeriodAmendmentsWithResponse(ctx, e.trial, fish.Period))
	after := ok[*openapi.GetCatchResponse](t, 200)(r.GetCatchWithResponse(ctx, e.trial, fish.ID)).JSON200
	if after.Derived.Position != openapi.PositionLower || after.Derived.Taken == amended.JSON200.Derived.Taken {
		t.Errorf("the position was given and stays, the pattern follows the arrangement: %+v, before %+v", after.Derived, amended.JSON200.Derived)
	}
}

// caring measures warm water, is stopped, let fish on by the organiser, and puts the outing right.
func caring(t *testing.T, e *contest, r *rod) {
	ctx := t.Context()
	outing := newID()
	opened := ok[*openapi.PutOutingResponse](t, 201)(r.PutOutingWithResponse(ctx, e.trial, outing, openapi.NewOuting{Water: "Upper Wend", StartedAt: r.w.clock(), ProtocolVersion: ptr(1)}))
	if o := opened.JSON201; o.Welfare != openapi.WelfareStateUnmeasured || o.LatestTemperature != nil || o.Version != 1 {
		t.Errorf("an outing without a thermometer: %s", opened.Body)
	}
	reading := newID()
	warm := openapi.NewTemperature{At: r.w.wait(time.Minute), Value: 20.5, Unit: "C"}
	measured := ok[*openapi.PutTemperatureResponse](t, 201)(r.PutTemperatureWithResponse(ctx, e.trial, outing, reading, warm))
	if o := measured.JSON201.Outing; o == nil || o.Welfare != openapi.WelfareStateStop || len(o.Cautions) == 0 {
		t.Errorf("at 20.5 C fishing stops: %s", measured.Body)
	}
	ok[*openapi.PutTemperatureResponse](t, 200)(r.PutTemperatureWithResponse(ctx, e.trial, outing, reading, warm))
	if list := ok[*openapi.ListTemperaturesResponse](t, 200)(r.ListTemperaturesWithResponse(ctx, e.trial, outing)); len(list.JSON200.Items) != 1 {
		t.Errorf("one reading is listed: %s", list.Body)
	}
	if stopped := ok[*openapi.PutUnitResponse](t, 409)(r.PutUnitWithResponse(ctx, e.trial, newID(), openapi.NewUnit{})); stopped.ApplicationProblemJSON409.Code != "welfare.stop" {
		t.Errorf("a round in warm water: %s", stopped.Body)
	}
	name := ok[*openapi.GetEnrolmentResponse](t, 200)(r.GetEnrolmentWithResponse(ctx, e.trial)).JSON200.Pseudonym
	leave := openapi.NewWelfareOverride{Angler: name, Day: r.w.clock().Format(time.DateOnly), Reason: "the thermometer lay in the shallows"}
	ok[*openapi.OverrideWelfareResponse](t, 403)(r.OverrideWelfareWithResponse(ctx, e.trial, leave))
	ok[*openapi.OverrideWelfareResponse](t, 201)(e.organiser.OverrideWelfareWithResponse(ctx, e.trial, leave))
	if list := ok[*openapi.ListWelfareOverridesResponse](t, 200)(r.ListWelfareOverridesWithResponse(ctx, e.trial)); len(list.JSON200.Items) != 1 || list.JSON200.Items[0].Angler != name {
		t.Errorf("the override is listed for everybody: %s", list.Body)
	}
	ok[*openapi.PutUnitResponse](t, 201)(r.PutUnitWithResponse(ctx, e.trial, newID(), openapi.NewUnit{}))
	tag := opened.HTTPResponse.Header.Get("ETag")
	amended := ok[*openapi.AmendOutingResponse](t, 200)(r.AmendOutingWithResponse(ctx, e.trial, outing, &openapi.AmendOutingParams{IfMatch: tag}, openapi.OutingAmendment{
		Reason: "found the thermometer", WaterTemperature: openapi.Set(openapi.Measure{Value: 12, Unit: "C"}), Void: ptr(true),
	}))
	if o := amended.JSON200; o.Version != 2 || !o.Void || o.WaterTemperature == nil || o.LatestTemperature.Value != 20.5 {
		t.Errorf("an outing corrected: %s", amended.Body)
	}
	ok[*openapi.AmendOutingResponse](t, 412)(r.AmendOutingWithResponse(ctx, e.trial, outing, &openapi.AmendOutingParams{IfMatch: tag}, openapi.OutingAmendment{Reason: "again", Void: ptr(false)}))
	if list := ok[*openapi.ListOutingAmendmentsResponse](t, 200)(r.ListOutingAmendmentsWithResponse(ctx, e.trial, outing)); len(list.JSON200.Items) != 1 || list.JSON200.Items[0].Old["void"] != false {
		t.Errorf("the list of corrections keeps what was there: %s", list.Body)
	}
}

// disputing files a dispute about a fish and an outing, and has two others decide.
func disputing(t *testing.T, e *contest, anglers []*rod) {
	ctx := t.Context()
	owner, other := anglers[2], anglers[1]
	fish := ok[*openapi.ListCatchesResponse](t, 200)(owner.ListCatchesWithResponse(ctx, e.trial, nil)).JSON200.Items[0]
	sent := openapi.NewDispute{Subject: fish.ID, Words: "it was hooked on the walk back"}
	filed := ok[*openapi.FileDisputeResponse](t, 201)(other.FileDisputeWithResponse(ctx, e.trial, sent)).JSON201
	if !filed.Mine || filed.Own || filed.MayDecide || filed.Facts.Catch == nil || filed.Outcome != openapi.DisputeOutcomeOpen {
		t.Errorf("a dispute just filed: %+v", filed)
	}
	ok[*openapi.FileDisputeResponse](t, 200)(other.FileDisputeWithResponse(ctx, e.trial, sent))
	ok[*openapi.FileDisputeResponse](t, 409)(e.scrutiny.FileDisputeWithResponse(ctx, e.trial, sent))
	say := openapi.NewDecision{Decision: "exclude", Reason: "not a cast of the trial"}
	ok[*openapi.DecideDisputeResponse](t, 409)(owner.DecideDisputeWithResponse(ctx, e.trial, filed.ID, say))
	ok[*openapi.DecideDisputeResponse](t, 409)(other.DecideDisputeWithResponse(ctx, e.trial, filed.ID, say))
	first := ok[*openapi.DecideDisputeResponse](t, 201)(e.scrutiny.DecideDisputeWithResponse(ctx, e.trial, filed.ID, say))
	if d := first.JSON201; d.Outcome != openapi.DisputeOutcomeOpen || !d.Decided || d.Subject != nil {
		t.Errorf("after one decision: %s", first.Body)
	}
	second := ok[*openapi.DecideDisputeResponse](t, 201)(e.organiser.DecideDisputeWithResponse(ctx, e.trial, filed.ID, say))
	if d := second.JSON201; d.Outcome != openapi.DisputeOutcomeExclude || len(d.Decisions) != 2 {
		t.Errorf("after two decisions: %s", second.Body)
	}
	after := ok[*openapi.GetCatchResponse](t, 200)(owner.GetCatchWithResponse(ctx, e.trial, fish.ID)).JSON200
	if !after.Disputed || after.Derived.Excluded == nil || *after.Derived.Excluded != openapi.ExclusionDisputed {
		t.Errorf("the fish is left out as disputed: %+v", after.Derived)
	}
	list := ok[*openapi.ListDisputesResponse](t, 200)(owner.ListDisputesWithResponse(ctx, e.trial))
	if items := list.JSON200.Items; len(items) != 1 || !items[0].Own || items[0].Subject == nil {
		t.Errorf("its angler sees the dispute: %s", list.Body)
	}
}

// amending changes the rule sheet of the open trial.
func amending(t *testing.T, e *contest) {
	ctx := t.Context()
	read := ok[*openapi.GetProtocolResponse](t, 200)(e.organiser.GetProtocolWithResponse(ctx, e.trial))
	next := openapi.NewProtocolVersion{Reason: "three weeks of flood", Protocol: *read.JSON200}
	next.Protocol.SeasonEnd, next.Protocol.Alpha = "2026-12-15", .1
	seen := &openapi.AmendProtocolParams{IfMatch: read.HTTPResponse.Header.Get("ETag")}
	if fixed := ok[*openapi.AmendProtocolResponse](t, 422)(e.organiser.AmendProtocolWithResponse(ctx, e.trial, seen, next)); fixed.ApplicationProblemJSON422.Code != "protocol.fixed" {
		t.Errorf("another alpha: %s", fixed.Body)
	}
	next.Protocol.Alpha = read.JSON200.Alpha
	made := ok[*openapi.AmendProtocolResponse](t, 201)(e.organiser.AmendProtocolWithResponse(ctx, e.trial, seen, next))
	if v := made.JSON201; v.Version != 2 || len(v.Changes) != 1 || v.Changes[0].Field != "season_end" {
		t.Errorf("the second version: %s", made.Body)
	}
	ok[*openapi.AmendProtocolResponse](t, 412)(e.organiser.AmendProtocolWithResponse(ctx, e.trial, seen, next))
	if list := ok[*openapi.ListProtocolVersionsResponse](t, 200)(e.scrutiny.ListProtocolVersionsWithResponse(ctx, e.trial)); len(list.JSON200.Items) != 2 || list.JSON200.Items[1].Protocol != nil {
		t.Errorf("two versions are listed: %s", list.Body)
	}
	first := ok[*openapi.GetProtocolVersionResponse](t, 200)(e.scrutiny.GetProtocolVersionWithResponse(ctx, e.trial, 1))
	if p := first.JSON200.Protocol; p == nil || p.SeasonEnd != read.JSON200.SeasonEnd {
		t.Errorf("the version that was registered stands: %s", first.Body)
	}
}

// results reads the closing analysis while it waits, runs it as the queue would, and reads it again.
func results(t *testing.T, e *contest, address string) {
	ctx := t.Context()
	waiting := ok[*openapi.GetAnalysisResponse](t, 202)(e.scrutiny.GetAnalysisWithResponse(ctx, e.trial, 1, nil))
	if waiting.JSON202.State != openapi.AnalysisStateQueued || waiting.JSON202.Address != address {
		t.Errorf("the closing analysis waits at %s: %s", address, waiting.Body)
	}
	if early := ok[*openapi.GetReportResponse](t, 409)(e.scrutiny.GetReportWithResponse(ctx, e.trial, 1)); early.ApplicationProblemJSON409.Code != "analysis.queued" {
		t.Errorf("the report of a waiting analysis: %s", early.Body)
	}
	if err := e.w.service.Analyse(ctx, trial.ID(e.trial), 1); err != nil {
		t.Fatal(err)
	}
	done := ok[*openapi.GetAnalysisResponse](t, 200)(e.scrutiny.GetAnalysisWithResponse(ctx, e.trial, 1, nil))
	if n := done.JSON200.Counts; n.Anglers != 2 || n.Catches != 6 {
		t.Errorf("the analysis counts %+v, want 2 anglers and their 6 fish, none of the one who was erased", n)
	}
	again := e.organiser.send(http.MethodGet, address, "")
	if !bytes.Equal(again.body, done.Body) {
		t.Error("a result is not the same bytes twice")
	}
	if has := e.organiser.send(http.MethodGet, address, "", "If-None-Match", `"other", W/`+again.header.Get("ETag")); has.status != 304 || len(has.body) > 0 || has.header.Get("ETag") != again.header.Get("ETag") {
		t.Errorf("who has the result is answered %d with %d bytes", has.status, len(has.body))
	}
	if other := e.organiser.send(http.MethodGet, address, "", "If-None-Match", `"other"`); other.status != 200 {
		t.Errorf("who has something else is answered %d", other.status)
	}
	ok[*openapi.ListAnalysesResponse](t, 200)(e.organiser.ListAnalysesWithResponse(ctx, e.trial))
	if same := ok[*openapi.RequestAnalysisResponse](t, 202)(e.organiser.RequestAnalysisWithResponse(ctx, e.trial)); same.HTTPResponse.Header.Get("Location") != address {
		t.Errorf("the same records are analysed once: %s", same.Body)
	}
	page := ok[*openapi.GetReportResponse](t, 200)(e.organiser.GetReportWithResponse(ctx, e.trial, 1))
	policy := page.HTTPResponse.Header.Get("Content-Security-Policy")
	if !strings.Contains(policy, "default-src 'none'") || strings.Contains(policy, "script-src") || !bytes.Contains(page.Body, []byte("<svg")) {
		t.Errorf("the report has the policy %q, want no scripts and figures", policy)
	}
	table := ok[*openapi.ExportCatchesResponse](t, 200)(e.scrutiny.ExportCatchesWithResponse(ctx, e.trial))
	if rows := strings.Count(string(table.Body), "\r\n"); rows != 7 {
		t.Errorf("the catch table has %d lines, want a header and 6 fish:\n%s", rows, table.Body)
	}
	book := ok[*openapi.ExportWorkbookResponse](t, 200)(e.scrutiny.ExportWorkbookWithResponse(ctx, e.trial))
	records, err := csv.NewReader(bytes.NewReader(table.Body)).ReadAll()
	if rows := sheetRows(t, book.Body); err != nil || !reflect.DeepEqual(rows, records) {
		t.Errorf("the workbook has the rows %q, the table %q (%v)", rows, records, err)
	}
	for _, name := range []string{"Bert", "Cleo", "Dora"} {
		if bytes.Contains(table.Body, []byte(name)) || bytes.Contains(page.Body, []byte(name)) {
			t.Errorf("%s's name leaves with the results", name)
		}
	}
}

// sheetRows are the rows of a workbook's first sheet by a general library of spreadsheets, each as long as the header.
func sheetRows(t *testing.T, book []byte) [][]string {
	file, err := excelize.OpenReader(bytes.NewReader(book))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := file.GetRows(file.GetSheetName(0))
	if err != nil {
		t.Fatal(err)
	}
	for i := range rows {
		rows[i] = append(rows[i], make([]string, len(rows[0])-len(rows[i]))...) // empty cells at a row's end are left out
	}
	return rows
}

func importing(t *testing.T, c *club) {
	ctx := t.Context()
	p := c.ruleSheet()
	p.Source = "recorded"
	e := c.opened(p)
	post := func(status int, dry bool, table string) *openapi.ImportTableResponse {
		t.Helper()
		return ok[*openapi.ImportTableResponse](t, status)(e.organiser.ImportTableWithBodyWithResponse(ctx, e.trial, &openapi.ImportTableParams{DryRun: dry}, "text/csv", strings.NewReader(table)))
	}
	const bad = "angler;lower_pattern;taken_position\r\nAnna;C;lower\r\nAnna;C;middle\r\nOtto;X;lower\r\n"
	dry := post(200, true, bad).JSON200
	if dry.FaultsTotal != 2 || dry.Saved || dry.Faults[0].Line != 3 || dry.Faults[0].Column != "taken_position" || dry.Faults[0].Value != "middle" {
		t.Errorf("a dry run of a table with two bad rows: %+v", dry)
	}
	refused := post(422, false, bad)
	if p := refused.ApplicationProblemJSON422; p.Code != "import.invalid" || len(p.Fields) != 2 || p.Fields[0].Field != "line 3 taken_position" {
		t.Errorf("in earnest the same table is refused, each fault named: %s", refused.Body)
	}
	const good = "angler;lower_pattern;taken_position\r\nAnna;C;lower\r\nOtto;N;upper\r\n"
	if saved := post(201, false, good).JSON201; !saved.Saved || saved.Rows != 2 || saved.Anglers != 2 {
		t.Errorf("a good table: %+v", saved)
	}
	if again := post(200, false, good).JSON200; !again.AlreadyImported || again.Saved {
		t.Errorf("the same table again: %+v", again)
	}
	lookingAfter(t, e)
}

// lookingAfter sees an analysis fail for good: who looks after the server lets it be tried again, and takes it out of the queue.
func lookingAfter(t *testing.T, e *contest) {
	ctx := t.Context()
	ok[*openapi.RequestAnalysisResponse](t, 202)(e.organiser.RequestAnalysisWithResponse(ctx, e.trial))
	stop := e.w.runJobs(t, func(context.Context, trial.ID, int) error { return trial.ErrLasting })
	var dead openapi.Job
	waitFor(t, "a dead job", func() bool {
		jobs := ok[*openapi.ListJobsResponse](t, 200)(e.w.admin.ListJobsWithResponse(ctx, nil)).JSON200.Items
		at := slices.IndexFunc(jobs, func(j openapi.Job) bool { return j.Trial == e.trial && j.State == "dead" })
		if at >= 0 {
			dead = jobs[at]
		}
		return at >= 0
	})
	stop()
	if again := ok[*openapi.RetryJobResponse](t, 200)(e.w.admin.RetryJobWithResponse(ctx, dead.Number)).JSON200; again.State != "retrying" {
		t.Errorf("a job to be tried again: %+v", again)
	}
	if gone := ok[*openapi.CancelJobResponse](t, 200)(e.w.admin.CancelJobWithResponse(ctx, dead.Number)).JSON200; gone.State != "cancelled" {
		t.Errorf("a cancelled job: %+v", gone)
	}
}

func ptr[T any](v T) *T { return &v }
