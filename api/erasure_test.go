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
