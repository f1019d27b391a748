package api_test

import (
	"testing"

	"evenrig/openapi"
)

// An account is erased by who left his clubs; its token is good for nothing at once.
func TestErasedAccountByHTTP(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	ida := c.invited("angler", "Ida Beck")
	ctx := t.Context()
	wish := openapi.AccountErasure{KeepRecords: false}
	if early := ok[*openapi.EraseAccountResponse](t, 409)(ida.EraseAccountWithResponse(ctx, wish)); early.ApplicationProblemJSON409.Code != "account.member" {
		t.Errorf("a member's account: %s", early.Body)
	}
	ok[*openapi.RemoveMemberResponse](t, 204)(ida.RemoveMemberWithResponse(ctx, c.id, me(t, ida)))
	ok[*openapi.EraseAccountResponse](t, 204)(ida.EraseAccountWithResponse(ctx, wish))
	ok[*openapi.GetMeResponse](t, 401)(ida.GetMeWithResponse(ctx))
}

// The same by a page, for who has no program: not by mistake, and not while a club still counts on him.
func TestErasedAccountOnItsPage(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	ida := c.invited("angler", "Ida Beck")
	page := ida.signedIn("ida@example.org")
	page.get("/me").shows(200, "Erase my account")
	page.get("/me/erase").shows(200, "Leave your clubs first", "Wend Fly Fishers")
	page.post("/me/erase", "sure", "yes", "current", "wrong").shows(403)
	ok[*openapi.RemoveMemberResponse](t, 204)(ida.RemoveMemberWithResponse(t.Context(), c.id, me(t, ida)))
	page.get("/me/erase").shows(200, "Nobody can bring them back")
	page.post("/me/erase").shows(422, "nothing was erased")
	page.post("/me/erase", "sure", "yes", "current", "wrong").shows(403, "is not the password that holds now")
	page.post("/me/erase", "sure", "yes", "current", "seven quiet pools in the upper water").shows(200, "Your account is erased")
	page.get("/me").shows(200, "Sign in")
}
