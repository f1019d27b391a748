package api_test

import (
	"net/http"
	"testing"

	"evenrig/openapi"
)

// A token is looked up once for many requests, and a revoked one is refused at once by the server that revoked it.
func TestTokensAreRemembered(t *testing.T) {
	store := &tokenStore{}
	_, url := newBareServer(t, store)
	for range 10 {
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url+"/v1/clubs/none", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", "bearer rig_some-token")
		answer, err := checking{t}.RoundTrip(r)
		if err != nil {
			t.Fatal(err)
		}
		if answer.StatusCode != http.StatusUnprocessableEntity {
			t.Fatalf("answered %d, want 422 for the id", answer.StatusCode)
		}
	}
	if store.looked != 1 {
		t.Errorf("the token was looked up %d times for 10 requests within 5 seconds, want once", store.looked)
	}
}

// An organiser is invited alone: more uses are a fault of the role.
func TestInvitationsOfOrganisersAreSingle(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	many := 3
	got := ok[*openapi.CreateInvitationResponse](t, 422)(c.organiser.CreateInvitationWithResponse(t.Context(), c.id, openapi.NewInvitation{Role: "organiser", Uses: &many}))
	if p := got.ApplicationProblemJSON422; p.Code != "invitation.invalid" || len(p.Fields) != 1 || p.Fields[0].Field != "uses" {
		t.Errorf("3 organisers at once: %s", got.Body)
	}
}
