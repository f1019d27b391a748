package api

import (
	"context"
	"fmt"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// PutCatch saves a fish; it answers once the fish is on disk.
func (h *handlers) PutCatch(ctx context.Context, r openapi.PutCatchRequestObject) (openapi.PutCatchResponseObject, error) {
	view, err := h.service.SubmitCatch(ctx, actorOf(ctx), trial.ID(r.Trial), catchTo(trial.ID(r.Catch), *r.Body))
	if err != nil {
		return nil, err
	}
	version := etag(view.Catch.Version)
	if !view.Created {
		return openapi.PutCatch200JSONResponse{Body: catchFrom(view), Headers: openapi.PutCatch200ResponseHeaders{ETag: version}}, nil
	}
	return openapi.PutCatch201JSONResponse{
		Body:    catchFrom(view),
		Headers: openapi.PutCatch201ResponseHeaders{ETag: version, Location: fmt.Sprintf("/v1/trials/%s/catches/%s", r.Trial, r.Catch)},
	}, nil
}

// GetCatch returns one of the actor's catches.
func (h *handlers) GetCatch(ctx context.Context, r openapi.GetCatchRequestObject) (openapi.GetCatchResponseObject, error) {
	view, err := h.service.Catch(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Catch))
	if err != nil {
		return nil, err
	}
	return openapi.GetCatch200JSONResponse{Body: catchFrom(view), Headers: openapi.GetCatch200ResponseHeaders{ETag: etag(view.Catch.Version)}}, nil
}

// ListCatches lists the actor's own catches.
func (h *handlers) ListCatches(ctx context.Context, r openapi.ListCatchesRequestObject) (openapi.ListCatchesResponseObject, error) {
	p, err := pageOf(r.Params.After, r.Params.Limit)
	if err != nil {
		return nil, err
	}
	views, err := h.service.Catches(ctx, actorFor(ctx, r.Params.For), trial.ID(r.Trial), p.toTrial())
	if err != nil {
		return nil, err
	}
	views, next := cut(p, views, func(v conduct.CatchView) trial.ID { return v.Catch.ID }, "/v1/trials/%s/catches", r.Trial)
	return openapi.ListCatches200JSONResponse{
		Body:    openapi.CatchList{Items: each(views, catchFrom)},
		Headers: openapi.ListCatches200ResponseHeaders{Link: next},
	}, nil
}

// AmendCatch corrects a catch.
func (h *handlers) AmendCatch(ctx context.Context, r openapi.AmendCatchRequestObject) (openapi.AmendCatchResponseObject, error) {
	c, err := correctionOf(r.Params.IfMatch, r.Body.Reason, r.Body)
	if err != nil {
		return nil, err
	}
	view, err := h.service.AmendCatch(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Catch), c)
	if err != nil {
		return nil, err
	}
	return openapi.AmendCatch200JSONResponse{Body: catchFrom(view), Headers: openapi.AmendCatch200ResponseHeaders{ETag: etag(view.Catch.Version)}}, nil
}

// ListCatchAmendments lists a catch's corrections.
func (h *handlers) ListCatchAmendments(ctx context.Context, r openapi.ListCatchAmendmentsRequestObject) (openapi.ListCatchAmendmentsResponseObject, error) {
	list, err := h.service.Amendments(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Catch))
	if err != nil {
		return nil, err
	}
	items, err := amendmentsFrom(list)
	return openapi.ListCatchAmendments200JSONResponse{Items: items}, err
}

// catchTo fills in what may be left out.
func catchTo(id trial.ID, b openapi.NewCatch) trial.Catch {
	return trial.Catch{
		ID: id, PeriodID: trial.ID(b.Period), TakenPattern: or(b.TakenPattern, ""), TakenPosition: trial.Position(or(b.TakenPosition, "")),
		Outcome: trial.Outcome(or(b.Outcome, string(trial.Landed))), FoulHooked: or(b.FoulHooked, false), RigIntact: or(b.RigIntact, true),
		DoubleID: trial.ID(or(b.DoubleID, openapi_types.UUID{})), Species: b.Species, Origin: trial.Origin(or(b.Origin, string(trial.UnknownOrigin))),
		CaughtAt: b.CaughtAt, NotedAt: or(b.NotedAt, b.CaughtAt), Length: measureTo(b.Length), Note: or(b.Note, ""),
		Welfare: trial.JoinWelfare(or(b.Welfare, nil)),
	}
}

func catchFrom(v conduct.CatchView) openapi.Catch {
	c := v.Catch
	out := openapi.Catch{
		ID: openapi_types.UUID(c.ID), Period: openapi_types.UUID(c.PeriodID), TakenPattern: orNil(c.TakenPattern), TakenPosition: orNil(openapi.Position(c.TakenPosition)),
		Outcome: openapi.Outcome(c.Outcome), FoulHooked: c.FoulHooked, RigIntact: c.RigIntact, DoubleID: idOrNil(c.DoubleID),
		Species: c.Species, Origin: openapi.Origin(c.Origin), CaughtAt: c.CaughtAt, NotedAt: c.NotedAt, Length: measureFrom(c.Length), Note: c.Note,
		NotedBy: openapi.NotedBy(v.NotedBy), ReceivedAt: c.ReceivedAt, Version: c.Version, Void: c.Void, AfterLock: c.AfterLock, Receipt: receiptFrom(v.Receipt),
		Welfare: each(trial.WelfareSigns(c.Welfare), func(sign string) openapi.WelfareSign { return openapi.WelfareSign(sign) }), Disputed: c.Disputed,
	}
	if v.Swap != nil {
		state := swapFrom(*v.Swap)
		out.Swap = &state
	}
	if v.Arrangement != "" {
		out.Derived = &openapi.CatchDerived{
			Arrangement: openapi.Arrangement(v.Arrangement), Taken: openapi.Taken(v.Taken), Position: openapi.Position(v.Position), Excluded: orNil(openapi.Exclusion(v.Excluded)),
		}
	}
	return out
}
