package api_test

import (
	"strings"
	"testing"
	"time"

	"evenrig/openapi"
)

// Whoever checks a trial asks, is answered once and reads the log in parts; an angler changes ticks.
func TestScrutinyByHTTP(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	e := c.opened(c.ruleSheet())
	r := e.join("Bert")
	fishOneBlock(t, r, 0)
	ctx := t.Context()
	asked := ok[*openapi.AskQuestionResponse](t, 201)(e.scrutiny.AskQuestionWithResponse(ctx, e.trial, openapi.NewQuestion{Question: "Who tied the flies?"}))
	ok[*openapi.AskQuestionResponse](t, 422)(e.scrutiny.AskQuestionWithResponse(ctx, e.trial, openapi.NewQuestion{Question: "Why"}))
	if asked.JSON201.N != 1 || !asked.JSON201.Mine || asked.JSON201.Answer != nil {
		t.Errorf("asked: %s", asked.Body)
	}
	answer := openapi.NewAnswer{Answer: "Two of us, from one packet of hooks."}
	ok[*openapi.AnswerQuestionResponse](t, 403)(e.scrutiny.AnswerQuestionWithResponse(ctx, e.trial, 1, answer))
	ok[*openapi.AnswerQuestionResponse](t, 404)(e.organiser.AnswerQuestionWithResponse(ctx, e.trial, 9, answer))
	ok[*openapi.AnswerQuestionResponse](t, 200)(e.organiser.AnswerQuestionWithResponse(ctx, e.trial, 1, answer))
	ok[*openapi.AnswerQuestionResponse](t, 409)(e.organiser.AnswerQuestionWithResponse(ctx, e.trial, 1, answer))
	listed := ok[*openapi.ListQuestionsResponse](t, 200)(r.ListQuestionsWithResponse(ctx, e.trial))
	if q := listed.JSON200.Items; len(q) != 1 || q[0].Mine || q[0].Answer == nil || q[0].AskedAs != openapi.RoleAuditor {
		t.Errorf("questions: %s", listed.Body)
	}

	limit := 5
	part := ok[*openapi.ReadMaskedLogResponse](t, 200)(e.scrutiny.ReadMaskedLogWithResponse(ctx, e.trial, &openapi.ReadMaskedLogParams{Limit: &limit}))
	if len(part.JSON200.Items) != limit || !strings.Contains(part.HTTPResponse.Header.Get("Link"), "masked-log?after=") {
		t.Errorf("a part of the log, Link %q: %s", part.HTTPResponse.Header.Get("Link"), part.Body)
	}
	next := strings.Trim(strings.Split(part.HTTPResponse.Header.Get("Link"), ";")[0], "<>")
	if rest := e.scrutiny.send("GET", next, ""); rest.status != 200 || strings.Contains(string(rest.body), `"record":{`) {
		t.Errorf("the next part answered %d %.300s", rest.status, rest.body)
	}

	yes := true
	changed := ok[*openapi.ChangeConsentResponse](t, 200)(r.ChangeConsentWithResponse(ctx, e.trial, openapi.ConsentChange{PublishOpen: &yes}))
	if c := changed.JSON200.Consent; !c.PublishOpen || c.ContactAgain {
		t.Errorf("changed ticks: %s", changed.Body)
	}
	if bad := r.send("PATCH", e.path("/enrolment"), `{"take_part":false}`); bad.status != 422 {
		t.Errorf("another tick answered %d %s", bad.status, bad.body)
	}
}

// An angler under age waits for an organiser's word; nobody else gives it.
func TestGuardianByHTTP(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	e := c.opened(c.ruleSheet())
	ticks, yes := allTicks, true
	ticks.Minor = &yes
	r := e.joinWith("Finn", ticks)
	ctx := t.Context()
	outing := openapi.NewOuting{Water: "Upper Wend", StartedAt: w.clock()}
	id := newID()
	if early := ok[*openapi.PutOutingResponse](t, 409)(r.PutOutingWithResponse(ctx, e.trial, id, outing)); early.ApplicationProblemJSON409.Code != "enrolment.guardian" {
		t.Errorf("before the guardian's yes: %s", early.Body)
	}
	ok[*openapi.ConfirmGuardianResponse](t, 403)(r.ConfirmGuardianWithResponse(ctx, e.trial, r.enrolment))
	ok[*openapi.ConfirmGuardianResponse](t, 404)(e.organiser.ConfirmGuardianWithResponse(ctx, e.trial, newID()))
	ok[*openapi.ConfirmGuardianResponse](t, 204)(e.organiser.ConfirmGuardianWithResponse(ctx, e.trial, r.enrolment))
	ok[*openapi.ConfirmGuardianResponse](t, 204)(e.organiser.ConfirmGuardianWithResponse(ctx, e.trial, r.enrolment))
	if own := ok[*openapi.GetEnrolmentResponse](t, 200)(r.GetEnrolmentWithResponse(ctx, e.trial)); own.JSON200.GuardianConfirmedAt == nil {
		t.Errorf("the enrolment does not say that it was confirmed: %s", own.Body)
	}
	ok[*openapi.PutOutingResponse](t, 201)(r.PutOutingWithResponse(ctx, e.trial, id, outing))
	for _, a := range ok[*openapi.ListEnrolmentsResponse](t, 200)(e.organiser.ListEnrolmentsWithResponse(ctx, e.trial)).JSON200.Items {
		if !a.Minor || a.GuardianConfirmedAt == nil {
			t.Errorf("the organiser's list says %+v", a)
		}
	}
	adult := e.join("Gerd")
	ok[*openapi.ConfirmGuardianResponse](t, 409)(e.organiser.ConfirmGuardianWithResponse(ctx, e.trial, adult.enrolment))
	ok[*openapi.WithdrawResponse](t, 204)(r.WithdrawWithResponse(ctx, e.trial, openapi.Withdrawal{Erase: true}))
	ok[*openapi.ConfirmGuardianResponse](t, 410)(e.organiser.ConfirmGuardianWithResponse(ctx, e.trial, r.enrolment))
}

// After locking an erasure withdraws the result: 410 for the numbers and for the page, with what stands in its place.
func TestWithdrawnByHTTP(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	e := c.opened(c.ruleSheet())
	rods := []*rod{e.join("Bert"), e.join("Cleo"), e.join("Dora")}
	for i, r := range rods {
		fishOneBlock(t, r, i)
	}
	e.move("closed")
	w.wait(2 * time.Hour)
	e.move("locked")
	ctx := t.Context()
	ok[*openapi.WithdrawResponse](t, 204)(rods[0].WithdrawWithResponse(ctx, e.trial, openapi.Withdrawal{Erase: true}))
	gone := ok[*openapi.GetAnalysisResponse](t, 410)(e.scrutiny.GetAnalysisWithResponse(ctx, e.trial, 1, nil))
	if p := gone.ApplicationProblemJSON410; p.Code != "analysis.withdrawn" || !strings.Contains(p.Detail, "analysis 2") {
		t.Errorf("a withdrawn analysis: %s", gone.Body)
	}
	ok[*openapi.GetReportResponse](t, 410)(e.scrutiny.GetReportWithResponse(ctx, e.trial, 1))
	list := ok[*openapi.ListAnalysesResponse](t, 200)(e.scrutiny.ListAnalysesWithResponse(ctx, e.trial))
	if items := list.JSON200.Items; len(items) != 2 || items[0].State != openapi.AnalysisStateWithdrawn || items[1].State != openapi.AnalysisStateQueued {
		t.Errorf("analyses: %s", list.Body)
	}
	if p := ok[*openapi.GetProgressResponse](t, 200)(e.scrutiny.GetProgressWithResponse(ctx, e.trial)).JSON200; p.ErasedAnglers != 1 || p.ErasedFish == 0 || p.Anglers != 2 {
		t.Errorf("progress %+v", p)
	}
	if trial := ok[*openapi.GetTrialResponse](t, 200)(e.scrutiny.GetTrialWithResponse(ctx, e.trial)); trial.JSON200.Analysis == nil || !strings.HasSuffix(*trial.JSON200.Analysis, "/analyses/2") {
		t.Errorf("the closing analysis: %s", trial.Body)
	}
	log := ok[*openapi.ReadMaskedLogResponse](t, 200)(e.scrutiny.ReadMaskedLogWithResponse(ctx, e.trial, nil))
	erased := 0
	for _, entry := range log.JSON200.Items {
		if entry.Erased && entry.Record == nil && entry.Angler == nil {
			erased++
		}
	}
	if erased == 0 || strings.Contains(string(log.Body), "test_lower") {
		t.Errorf("%d entries of the erased angler in %.300s", erased, log.Body)
	}
}
