package api_test

import (
	"crypto/rand"
	"encoding/hex"
	"net/http"
	"testing"
	"time"

	"github.com/google/uuid"

	"evenrig/openapi"
)

// paperDay takes every operation of days without a phone through once: slips, a coin, a lost phone, a friend who notes, a guest, a
// card, flies. It is a trial of its own, which waits for its cards when it is to be locked.
func paperDay(t *testing.T, c *club) {
	ctx := t.Context()
	w := c.w
	e := c.opened(c.ruleSheet())
	ida, friend := e.join("Ida of the paper day"), e.invited("angler", "Lutz of the paper day")

	account := ok[*openapi.GetMeResponse](t, 200)(friend.GetMeWithResponse(ctx)).JSON200.ID
	ok[*openapi.PutNotersResponse](t, 200)(ida.PutNotersWithResponse(ctx, e.trial, openapi.Noters{Accounts: []uuid.UUID{account}}))
	if who := ok[*openapi.ListNotersResponse](t, 200)(ida.ListNotersWithResponse(ctx, e.trial)); len(who.JSON200.Accounts) != 1 {
		t.Errorf("who may note: %s", who.Body)
	}
	if whom := ok[*openapi.ListNotingResponse](t, 200)(friend.ListNotingWithResponse(ctx, e.trial)); len(whom.JSON200.Items) != 1 || whom.JSON200.Items[0].Enrolment != ida.enrolment {
		t.Errorf("for whom: %s", whom.Body)
	}
	outing, unit := newID(), newID()
	ok[*openapi.PutOutingResponse](t, 201)(friend.PutOutingWithResponse(ctx, e.trial, outing, openapi.NewOuting{Water: "Upper Wend", StartedAt: w.clock(), For: &ida.enrolment}))
	ok[*openapi.PutUnitResponse](t, 201)(friend.PutUnitWithResponse(ctx, e.trial, unit, openapi.NewUnit{For: &ida.enrolment}))
	two := 2
	period := ok[*openapi.PutPeriodResponse](t, 201)(friend.PutPeriodWithResponse(ctx, e.trial, newID(), openapi.NewPeriod{
		Outing: outing, Unit: unit, Half: 1, Confirmed: true, StartedAt: w.clock(), TestFly: &two,
	})).JSON201
	if period.TestFly == nil || *period.TestFly != 2 || period.ControlFly != nil {
		t.Errorf("the flies' numbers: %+v", period)
	}
	w.wait(5 * time.Minute)
	fish := newID()
	ok[*openapi.PutCatchResponse](t, 201)(friend.PutCatchWithResponse(ctx, e.trial, fish, ida.fish(period.ID, "C")))
	ok[*openapi.GetCatchResponse](t, 200)(friend.GetCatchWithResponse(ctx, e.trial, fish))
	if listed := ok[*openapi.ListCatchesResponse](t, 200)(friend.ListCatchesWithResponse(ctx, e.trial, &openapi.ListCatchesParams{For: &ida.enrolment})); len(listed.JSON200.Items) != 1 {
		t.Errorf("the friend's list: %s", listed.Body)
	}
	ok[*openapi.ListOutingsResponse](t, 200)(friend.ListOutingsWithResponse(ctx, e.trial, &openapi.ListOutingsParams{For: &ida.enrolment}))
	stranger := uuid.New()
	ok[*openapi.ListOutingsResponse](t, 404)(friend.ListOutingsWithResponse(ctx, e.trial, &openapi.ListOutingsParams{For: &stranger}))
	if a := friend.send(http.MethodGet, e.path("/enrolment?for=%s", ida.enrolment), ""); a.status != 422 {
		t.Errorf("what is the angler's alone takes no for: %d: %s", a.status, a.body)
	}
	one := 1
	lost := ok[*openapi.PutDeviationResponse](t, 201)(friend.PutDeviationWithResponse(ctx, e.trial, newID(), openapi.NewDeviation{
		Outing: outing, Period: &period.ID, Kind: "fly_lost", From: w.clock(), Fly: &one,
	}))
	if lost.JSON201.Fly == nil || *lost.JSON201.Fly != 1 {
		t.Errorf("reported %s", lost.Body)
	}

	// The phone is lost with a unit; slips and an own coin go on.
	carried := ida.unit()
	ok[*openapi.LoseUnitResponse](t, 200)(ida.LoseUnitWithResponse(ctx, e.trial, carried.ID, openapi.NewLoss{LostAt: w.clock()}))
	printed := ok[*openapi.PrintSlipsResponse](t, 201)(c.scrutiny.PrintSlipsWithResponse(ctx, e.trial, openapi.NewSlips{Enrolment: ida.enrolment, Count: 3})).JSON201
	drawn := func(by, first string, slip *int) (string, *time.Time, string, *int) {
		now := w.clock()
		return by, &now, first, slip
	}
	put := func(status int, by string, at *time.Time, first string, slip *int) *openapi.PutUnitResponse {
		t.Helper()
		return ok[*openapi.PutUnitResponse](t, status)(ida.PutUnitWithResponse(ctx, e.trial, newID(), openapi.NewUnit{DrawnBy: &by, DrawnAt: at, First: &first, Slip: slip}))
	}
	by, at, first, slip := drawn("slip", string(printed.Slips[0].First), &printed.Slips[0].Number)
	if u := put(201, by, at, first, slip).JSON201; u.DrawnBy != "slip" || u.Slip == nil || *u.Slip != 1 {
		t.Errorf("kept %+v", u)
	}
	by, at, first, slip = drawn("coin", "control_lower", nil)
	put(201, by, at, first, slip)
	put(422, "die", at, first, slip)
	service := "service"
	ok[*openapi.PutUnitResponse](t, 422)(ida.PutUnitWithResponse(ctx, e.trial, newID(), openapi.NewUnit{DrawnBy: &service, First: &first}))
	sheets := ok[*openapi.ListSlipsResponse](t, 200)(ida.ListSlipsWithResponse(ctx, e.trial)).JSON200.Items
	if len(sheets) != 1 || len(sheets[0].Opened) != 1 || sheets[0].PrintedBy == "" {
		t.Errorf("sheets %+v", sheets)
	}

	// A guest for a day, whose card a member types.
	code := make([]byte, 32)
	if _, err := rand.Read(code); err != nil {
		t.Fatal(err)
	}
	guest := uuid.New()
	sent := openapi.NewGuest{Code: hex.EncodeToString(code), Consent: allTicks}
	ok[*openapi.PutGuestResponse](t, 201)(friend.PutGuestWithResponse(ctx, e.trial, guest, sent))
	ok[*openapi.PutGuestResponse](t, 200)(friend.PutGuestWithResponse(ctx, e.trial, guest, sent))
	begun, coin, test := w.clock(), "coin", "test_lower"
	w.wait(4 * time.Hour)
	pattern := "N"
	card := openapi.NewCard{
		For: &guest, WrittenAt: begun.Add(3 * time.Hour),
		Outing: openapi.CardOuting{Water: "Mill Reach", StartedAt: begun, EndedAt: begun.Add(2 * time.Hour), Reason: "planned", NotLogged: 1},
		Rounds: []openapi.CardRound{{DrawnBy: &coin, First: &test, Halves: []openapi.CardHalf{{
			StartedAt: begun.Add(time.Minute), Confirmed: true, EndedAt: begun.Add(time.Hour), Reason: "outing_ended",
			Fish: []openapi.CardFish{{CaughtAt: begun.Add(30 * time.Minute), TakenPattern: &pattern, Species: "Thymallus thymallus", Length: &openapi.Measure{Value: 12, Unit: "in"}}},
		}}}},
	}
	typed := ok[*openapi.PutCardResponse](t, 201)(friend.PutCardWithResponse(ctx, e.trial, 12, card))
	if len(typed.JSON201.Catches) != 1 || len(typed.JSON201.Periods) != 1 {
		t.Errorf("typed %s", typed.Body)
	}
	ok[*openapi.PutCardResponse](t, 200)(friend.PutCardWithResponse(ctx, e.trial, 12, card))
	card.Outing.NotLogged = 3
	differs := ok[*openapi.PutCardResponse](t, 409)(friend.PutCardWithResponse(ctx, e.trial, 12, card))
	if p := differs.ApplicationProblemJSON409; p.Code != "card.differs" || len(p.Fields) != 1 || p.Fields[0].Field != "outing.not_logged" {
		t.Errorf("typed otherwise: %s", differs.Body)
	}
	cards := ok[*openapi.ListCardsResponse](t, 200)(c.organiser.ListCardsWithResponse(ctx, e.trial)).JSON200.Items
	if len(cards) != 1 || cards[0].Number != 12 {
		t.Errorf("cards %+v", cards)
	}
	ok[*openapi.ListCardsResponse](t, 403)(friend.ListCardsWithResponse(ctx, e.trial))
	ok[*openapi.WithdrawGuestResponse](t, 204)(c.organiser.WithdrawGuestWithResponse(ctx, e.trial, guest, openapi.Withdrawal{Erase: true}))
	ok[*openapi.WithdrawGuestResponse](t, 403)(friend.WithdrawGuestWithResponse(ctx, e.trial, ida.enrolment, openapi.Withdrawal{Erase: true}))

	// Flies.
	stock := ok[*openapi.AddFliesResponse](t, 201)(c.organiser.AddFliesWithResponse(ctx, e.trial, openapi.NewFlyBatch{Batch: "September", TiedBy: "the club's tyer", Envelopes: 2})).JSON201
	ok[*openapi.InspectFliesResponse](t, 204)(friend.InspectFliesWithResponse(ctx, e.trial, 1, openapi.FlyInspection{NotTyer: true}))
	ok[*openapi.InspectFliesResponse](t, 409)(c.scrutiny.InspectFliesWithResponse(ctx, e.trial, 1, openapi.FlyInspection{NotTyer: true}))
	envelope := stock.Envelopes[0]
	ok[*openapi.MoveFliesResponse](t, 201)(c.organiser.MoveFliesWithResponse(ctx, e.trial, envelope.Code, openapi.FlyMove{Kind: "issued", Enrolment: &ida.enrolment}))
	ok[*openapi.MoveFliesResponse](t, 422)(c.organiser.MoveFliesWithResponse(ctx, e.trial, envelope.Code, openapi.FlyMove{Kind: "issued"}))
	ok[*openapi.MoveFliesResponse](t, 404)(c.organiser.MoveFliesWithResponse(ctx, e.trial, "no-such", openapi.FlyMove{Kind: "lost"}))
	own := ok[*openapi.ListFliesResponse](t, 200)(ida.ListFliesWithResponse(ctx, e.trial)).JSON200
	if len(own.Envelopes) != 1 || own.Envelopes[0].Code != envelope.Code || own.Envelopes[0].PerPattern != 3 {
		t.Errorf("the angler's flies %+v", own)
	}

	if p := ok[*openapi.GetProgressResponse](t, 200)(c.scrutiny.GetProgressWithResponse(ctx, e.trial)).JSON200; p.LostUnits != 1 || p.TypedFish != 1 {
		t.Errorf("progress %+v", p)
	}
	e.move("closed")
	w.wait(2 * time.Hour)
	early := ok[*openapi.MoveTrialResponse](t, 409)(c.organiser.MoveTrialWithResponse(ctx, e.trial, openapi.TrialMove{State: "locked"}))
	if early.ApplicationProblemJSON409.Code != "trial.too_early" {
		t.Errorf("locked with cards on their way: %s", early.Body)
	}
	open := ok[*openapi.ListOutstandingResponse](t, 200)(c.organiser.ListOutstandingWithResponse(ctx, e.trial)).JSON200.Items
	if len(open) != 1 || open[0].Enrolment != ida.enrolment || open[0].OpenOutings != 1 || open[0].LastHeard == nil {
		t.Errorf("what is not here yet: %+v", open)
	}
	ok[*openapi.ListOutstandingResponse](t, 403)(friend.ListOutstandingWithResponse(ctx, e.trial))
	ok[*openapi.PutCardsInResponse](t, 422)(c.organiser.PutCardsInWithResponse(ctx, e.trial, openapi.NewCardsIn{Reason: "so"}))
	if said := ok[*openapi.PutCardsInResponse](t, 200)(c.organiser.PutCardsInWithResponse(ctx, e.trial, openapi.NewCardsIn{Reason: "one card was out, and it was typed in"})).JSON200; said.CardsIn == nil {
		t.Errorf("all cards are in: %+v", said)
	}
	e.move("locked")
}
