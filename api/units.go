package api

import (
	"context"
	"fmt"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// PutUnit fetches the next unit, or keeps one that something else drew.
func (h *handlers) PutUnit(ctx context.Context, r openapi.PutUnitRequestObject) (openapi.PutUnitResponseObject, error) {
	var view conduct.UnitView
	var err error
	actor := actorOf(ctx)
	if r.Body != nil {
		actor = actorFor(ctx, r.Body.For)
	}
	if b := r.Body; b == nil || or(b.DrawnBy, string(trial.ByService)) == string(trial.ByService) {
		if b != nil && (b.First != nil || b.DrawnAt != nil || b.Slip != nil) {
			var f trial.Faults
			f.Add("drawn_by", "is service; accepted: phone, slip or coin with first, drawn_at and slip")
			return nil, f.Err("unit.invalid", "the unit has faults")
		}
		view, err = h.service.FetchUnit(ctx, actor, trial.ID(r.Trial), trial.ID(r.Unit))
	} else {
		view, err = h.service.KeepUnit(ctx, actor, trial.ID(r.Trial), trial.Unit{
			ID: trial.ID(r.Unit), DrawnBy: trial.DrawnBy(*b.DrawnBy), First: trial.Arrangement(or(b.First, "")), DrawnAt: b.DrawnAt, Slip: or(b.Slip, 0),
		})
	}
	if err != nil {
		return nil, err
	}
	if !view.Created {
		return openapi.PutUnit200JSONResponse(unitFrom(view)), nil
	}
	return openapi.PutUnit201JSONResponse{
		Body:    unitFrom(view),
		Headers: openapi.PutUnit201ResponseHeaders{Location: fmt.Sprintf("/v1/trials/%s/units", r.Trial)},
	}, nil
}

// LoseUnit closes a unit as lost with its phone.
func (h *handlers) LoseUnit(ctx context.Context, r openapi.LoseUnitRequestObject) (openapi.LoseUnitResponseObject, error) {
	view, err := h.service.LoseUnit(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Unit), r.Body.LostAt)
	if err != nil {
		return nil, err
	}
	return openapi.LoseUnit200JSONResponse(unitFrom(view)), nil
}

// ListUnits lists the units that the actor has fetched.
func (h *handlers) ListUnits(ctx context.Context, r openapi.ListUnitsRequestObject) (openapi.ListUnitsResponseObject, error) {
	views, err := h.service.Units(ctx, actorFor(ctx, r.Params.For), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListUnits200JSONResponse{Items: each(views, unitFrom)}, nil
}

func unitFrom(v conduct.UnitView) openapi.Unit {
	u := v.Unit
	return openapi.Unit{
		ID: openapi_types.UUID(u.ID), N: u.N, First: openapi.Arrangement(u.First), Lower: v.Lower, Upper: v.Upper,
		SameFlyCheck: u.SameFlyCheck, FetchedAt: u.FetchedAt, OpenedAt: u.OpenedAt,
		DrawnBy: openapi.DrawnBy(u.DrawnBy), Slip: orNil(u.Slip), DrawnAt: u.DrawnAt, LostAt: u.LostAt,
	}
}
