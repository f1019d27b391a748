package api

import (
	"context"
	"fmt"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// PutUnit fetches the next unit.
func (h *handlers) PutUnit(ctx context.Context, r openapi.PutUnitRequestObject) (openapi.PutUnitResponseObject, error) {
	view, err := h.service.FetchUnit(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Unit))
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

// ListUnits lists the units that the actor has fetched.
func (h *handlers) ListUnits(ctx context.Context, r openapi.ListUnitsRequestObject) (openapi.ListUnitsResponseObject, error) {
	views, err := h.service.Units(ctx, actorOf(ctx), trial.ID(r.Trial))
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
	}
}
