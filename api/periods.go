package api

import (
	"context"
	"encoding/json"
	"fmt"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// PutPeriod begins a period.
func (h *handlers) PutPeriod(ctx context.Context, r openapi.PutPeriodRequestObject) (openapi.PutPeriodResponseObject, error) {
	b := r.Body
	view, err := h.service.BeginPeriod(ctx, actorOf(ctx), trial.ID(r.Trial), trial.Period{
		ID: trial.ID(r.Period), OutingID: trial.ID(b.Outing), UnitID: trial.ID(b.Unit), Half: b.Half,
		Fished: trial.Arrangement(or(b.Fished, "")), Confirmed: b.Confirmed, TestFly: or(b.TestFly, 0), ControlFly: or(b.ControlFly, 0), StartedAt: b.StartedAt,
	})
	if err != nil {
		return nil, err
	}
	version := etag(view.Period.Version)
	if !view.Created {
		return openapi.PutPeriod200JSONResponse{Body: periodFrom(view), Headers: openapi.PutPeriod200ResponseHeaders{ETag: version}}, nil
	}
	return openapi.PutPeriod201JSONResponse{
		Body:    periodFrom(view),
		Headers: openapi.PutPeriod201ResponseHeaders{ETag: version, Location: periodAddress(r.Trial, r.Period)},
	}, nil
}

// PutPeriodEnd ends a period.
func (h *handlers) PutPeriodEnd(ctx context.Context, r openapi.PutPeriodEndRequestObject) (openapi.PutPeriodEndResponseObject, error) {
	view, err := h.service.EndPeriod(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Period), trial.PeriodEnd{
		EndedAt: r.Body.EndedAt, SwapNowAt: r.Body.SwapNowAt, Reason: r.Body.Reason,
	})
	if err != nil {
		return nil, err
	}
	version := etag(view.Period.Version)
	if !view.Created {
		return openapi.PutPeriodEnd200JSONResponse{Body: periodFrom(view), Headers: openapi.PutPeriodEnd200ResponseHeaders{ETag: version}}, nil
	}
	return openapi.PutPeriodEnd201JSONResponse{
		Body:    periodFrom(view),
		Headers: openapi.PutPeriodEnd201ResponseHeaders{ETag: version, Location: periodAddress(r.Trial, r.Period)},
	}, nil
}

// GetPeriod returns one of the actor's periods.
func (h *handlers) GetPeriod(ctx context.Context, r openapi.GetPeriodRequestObject) (openapi.GetPeriodResponseObject, error) {
	view, err := h.service.Period(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Period))
	if err != nil {
		return nil, err
	}
	return openapi.GetPeriod200JSONResponse{Body: periodFrom(view), Headers: openapi.GetPeriod200ResponseHeaders{ETag: etag(view.Period.Version)}}, nil
}

// AmendPeriod corrects a period.
func (h *handlers) AmendPeriod(ctx context.Context, r openapi.AmendPeriodRequestObject) (openapi.AmendPeriodResponseObject, error) {
	c, err := correctionOf(r.Params.IfMatch, r.Body.Reason, r.Body)
	if err != nil {
		return nil, err
	}
	view, err := h.service.AmendPeriod(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Period), c)
	if err != nil {
		return nil, err
	}
	return openapi.AmendPeriod200JSONResponse{Body: periodFrom(view), Headers: openapi.AmendPeriod200ResponseHeaders{ETag: etag(view.Period.Version)}}, nil
}

// ListPeriods lists an outing's periods.
func (h *handlers) ListPeriods(ctx context.Context, r openapi.ListPeriodsRequestObject) (openapi.ListPeriodsResponseObject, error) {
	views, err := h.service.Periods(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Outing))
	if err != nil {
		return nil, err
	}
	return openapi.ListPeriods200JSONResponse{Items: each(views, periodFrom)}, nil
}

// ListPeriodAmendments lists a period's corrections.
func (h *handlers) ListPeriodAmendments(ctx context.Context, r openapi.ListPeriodAmendmentsRequestObject) (openapi.ListPeriodAmendmentsResponseObject, error) {
	list, err := h.service.Amendments(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Period))
	if err != nil {
		return nil, err
	}
	items, err := amendmentsFrom(list)
	return openapi.ListPeriodAmendments200JSONResponse{Items: items}, err
}

func periodAddress(t, period openapi_types.UUID) string {
	return fmt.Sprintf("/v1/trials/%s/periods/%s", t, period)
}

func periodFrom(v conduct.PeriodView) openapi.Period {
	p := v.Period
	out := openapi.Period{
		ID: openapi_types.UUID(p.ID), Outing: openapi_types.UUID(p.OutingID), Unit: openapi_types.UUID(p.UnitID), Block: p.Block, Half: p.Half,
		Drawn: openapi.Arrangement(p.Drawn), Fished: openapi.Arrangement(p.Fished), Lower: v.Lower, Upper: v.Upper, Confirmed: p.Confirmed, TestFly: orNil(p.TestFly), ControlFly: orNil(p.ControlFly),
		StartedAt: p.StartedAt, ReceivedAt: p.ReceivedAt, Version: p.Version, Swap: swapFrom(v.Swap),
	}
	if p.End != nil {
		out.End = &openapi.PeriodEnd{
			EndedAt: p.End.EndedAt, SwapNowAt: p.End.SwapNowAt, Reason: openapi.PeriodEndReason(p.End.Reason), ReceivedAt: p.End.ReceivedAt,
		}
	}
	return out
}

func swapFrom(s trial.SwapState) openapi.SwapState {
	return openapi.SwapState{Fish: s.Fish, Of: s.Of, Due: s.Due, MinutesLeft: s.MinutesLeft}
}

// correctionOf returns what a PATCH asks for: all of its body but the reason is a JSON merge patch.
func correctionOf(ifMatch, reason string, body any) (conduct.Correction, error) {
	seen, err := seenVersion(ifMatch)
	if err != nil {
		return conduct.Correction{}, err
	}
	fields, err := recode[map[string]json.RawMessage](body)
	if err != nil {
		return conduct.Correction{}, err
	}
	delete(fields, "reason")
	patch, err := json.Marshal(fields)
	if err != nil {
		return conduct.Correction{}, fmt.Errorf("encode correction: %w", err)
	}
	return conduct.Correction{Seen: seen, Reason: reason, Patch: patch}, nil
}

func amendmentsFrom(list []conduct.AmendmentView) ([]openapi.Amendment, error) {
	items := make([]openapi.Amendment, len(list))
	for i, a := range list {
		items[i] = openapi.Amendment{N: a.N, At: a.At, By: openapi.NotedBy(a.Corrector), Reason: a.Reason}
		var err error
		if items[i].Old, err = recode[map[string]any](a.Old); err != nil {
			return nil, err
		}
		if items[i].New, err = recode[map[string]any](a.New); err != nil {
			return nil, err
		}
	}
	return items, nil
}
