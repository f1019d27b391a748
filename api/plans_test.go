package api_test

import (
	"testing"

	"evenrig/openapi"
)

// The closed form of a trial's size: 191 analysed fish see 60 of 100 with power .80 at a two-sided .05 when anglers are alike
// and half the fish take each position, (z.975+z.80)²/(p(1-p)θ²) with θ = ln 1.5 = .405 (elementary; common practice).
func TestPlanningATrial(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx := t.Context()
	ok[*openapi.GetUsualSizeResponse](t, 401)(w.person("").GetUsualSizeWithResponse(ctx))
	usual := ok[*openapi.GetUsualSizeResponse](t, 200)(w.admin.GetUsualSizeWithResponse(ctx)).JSON200
	usual.SdPosition = 0 // anglers alike in the position too
	answer := ok[*openapi.PlanSizeResponse](t, 200)(w.admin.PlanSizeWithResponse(ctx, *usual)).JSON200
	if answer.Fish != 191 || answer.Played != nil {
		t.Errorf("%d fish, want 191, and nothing played: %+v", answer.Fish, answer.Played)
	}
	usual.Seasons = 20
	if played := ok[*openapi.PlanSizeResponse](t, 200)(w.admin.PlanSizeWithResponse(ctx, *usual)).JSON200.Played; played == nil || played.Seasons < 20 {
		t.Errorf("20 seasons were asked for: %+v", played)
	}
	usual.Seasons = 501
	ok[*openapi.PlanSizeResponse](t, 422)(w.admin.PlanSizeWithResponse(ctx, *usual))
	usual.Seasons, usual.Alpha, usual.SmallestShare, usual.Anglers = 0, 0, .5, 0
	refused := ok[*openapi.PlanSizeResponse](t, 422)(w.admin.PlanSizeWithResponse(ctx, *usual))
	for _, field := range []string{"alpha", "smallest_share", "anglers"} {
		found := false
		for _, f := range refused.ApplicationProblemJSON422.Fields {
			found = found || f.Field == field
		}
		if !found {
			t.Errorf("the fault in %s is not named: %s", field, refused.Body)
		}
	}
}
