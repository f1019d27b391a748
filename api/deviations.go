package api

import (
	"context"
	"fmt"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// PutDeviation saves a report of something not as planned.
func (h *handlers) PutDeviation(ctx context.Context, r openapi.PutDeviationRequestObject) (openapi.PutDeviationResponseObject, error) {
	b := r.Body
	view, err := h.service.ReportDeviation(ctx, actorOf(ctx), trial.ID(r.Trial), trial.Deviation{
		ID: trial.ID(r.Deviation), OutingID: trial.ID(b.Outing), PeriodID: trial.ID(or(b.Period, openapi_types.UUID{})), Kind: trial.DeviationKind(b.Kind),
		Water: or(b.Water, ""), Fly: or(b.Fly, 0), FromAt: b.From, UntilAt: b.Until, Note: or(b.Note, ""),
	})
	if err != nil {
		return nil, err
	}
	if !view.Created {
		return openapi.PutDeviation200JSONResponse(deviationFrom(view.Deviation)), nil
	}
	return openapi.PutDeviation201JSONResponse{
		Body:    deviationFrom(view.Deviation),
		Headers: openapi.PutDeviation201ResponseHeaders{Location: fmt.Sprintf("/v1/trials/%s/deviations/%s", r.Trial, r.Deviation)},
	}, nil
}

// GetDeviation returns one of the actor's reports.
func (h *handlers) GetDeviation(ctx context.Context, r openapi.GetDeviationRequestObject) (openapi.GetDeviationResponseObject, error) {
	d, err := h.service.Deviation(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Deviation))
	if err != nil {
		return nil, err
	}
	return openapi.GetDeviation200JSONResponse(deviationFrom(d)), nil
}

// ListDeviations lists the reports of an outing.
func (h *handlers) ListDeviations(ctx context.Context, r openapi.ListDeviationsRequestObject) (openapi.ListDeviationsResponseObject, error) {
	list, err := h.service.Deviations(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Outing))
	if err != nil {
		return nil, err
	}
	return openapi.ListDeviations200JSONResponse{Items: each(list, deviationFrom)}, nil
}

func deviationFrom(d trial.Deviation) openapi.Deviation {
	return openapi.Deviation{
		ID: openapi_types.UUID(d.ID), Outing: openapi_types.UUID(d.OutingID), Period: idOrNil(d.PeriodID), Kind: openapi.DeviationKind(d.Kind),
		Water: d.Water, From: d.FromAt, Until: d.UntilAt, Fly: orNil(d.Fly), Note: d.Note, ReceivedAt: d.ReceivedAt,
	}
}
