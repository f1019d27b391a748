package api

import (
	"context"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// ListFlies returns the trial's flies.
func (h *handlers) ListFlies(ctx context.Context, r openapi.ListFliesRequestObject) (openapi.ListFliesResponseObject, error) {
	view, err := h.service.Flies(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListFlies200JSONResponse(fliesFrom(view)), nil
}

// AddFlies enters a batch of flies.
func (h *handlers) AddFlies(ctx context.Context, r openapi.AddFliesRequestObject) (openapi.AddFliesResponseObject, error) {
	b := r.Body
	perPattern := or(b.PerPattern, 0)
	if b.PerPattern == nil {
		p, err := h.service.Protocol(ctx, actorOf(ctx), trial.ID(r.Trial))
		if err != nil {
			return nil, err
		}
		perPattern = p.Protocol.Rig.SpecimensPerPattern
	}
	view, err := h.service.AddFlies(ctx, actorOf(ctx), trial.ID(r.Trial), trial.FlyBatch{
		Batch: b.Batch, TiedBy: b.TiedBy, HookLot: or(b.HookLot, ""), Materials: or(b.Materials, ""),
	}, b.Envelopes, perPattern)
	if err != nil {
		return nil, err
	}
	return openapi.AddFlies201JSONResponse(fliesFrom(view)), nil
}

// InspectFlies signs a batch as looked over.
func (h *handlers) InspectFlies(ctx context.Context, r openapi.InspectFliesRequestObject) (openapi.InspectFliesResponseObject, error) {
	err := h.service.InspectFlies(ctx, actorOf(ctx), trial.ID(r.Trial), r.Batch, r.Body.NotTyer, or(r.Body.Remarks, ""))
	if err != nil {
		return nil, err
	}
	return openapi.InspectFlies204Response{}, nil
}

// MoveFlies notes what happened to an envelope.
func (h *handlers) MoveFlies(ctx context.Context, r openapi.MoveFliesRequestObject) (openapi.MoveFliesResponseObject, error) {
	b := r.Body
	m := trial.FlyMove{
		Code: r.Code, Kind: trial.FlyMoveKind(b.Kind), EnrolmentID: trial.ID(or(b.Enrolment, openapi_types.UUID{})), Flies: or(b.Flies, 0), Note: or(b.Note, ""),
	}
	if b.At != nil {
		m.At = *b.At
	}
	view, err := h.service.MoveFlies(ctx, actorOf(ctx), trial.ID(r.Trial), m)
	if err != nil {
		return nil, err
	}
	return openapi.MoveFlies201JSONResponse(fliesFrom(view)), nil
}

func fliesFrom(v conduct.FlyStockView) openapi.FlyStock {
	return openapi.FlyStock{
		Batches: each(v.Batches, func(b conduct.FlyBatchView) openapi.FlyBatch {
			return openapi.FlyBatch{
				Number: b.Batch.N, Batch: b.Batch.Batch, TiedBy: b.Batch.TiedBy, HookLot: b.Batch.HookLot, Materials: b.Batch.Materials, MadeAt: b.Batch.MadeAt,
				InspectedBy: b.InspectedBy, InspectedAt: b.Batch.InspectedAt, Remarks: b.Batch.Remarks,
			}
		}),
		Envelopes: each(v.Envelopes, func(e conduct.EnvelopeView) openapi.Envelope {
			is := e.State
			return openapi.Envelope{
				Code: e.Envelope.Code, Batch: e.Envelope.Batch, PerPattern: is.PerPattern, State: openapi.EnvelopeState(is.State), Holder: orNil(e.Holder),
				Since: is.Since, Back: is.Back, Lost: is.Lost, Retied: is.Retied,
			}
		}),
	}
}
