package api

import (
	"context"
	"fmt"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// PutOuting begins an outing.
func (h *handlers) PutOuting(ctx context.Context, r openapi.PutOutingRequestObject) (openapi.PutOutingResponseObject, error) {
	b := r.Body
	view, err := h.service.OpenOuting(ctx, actorFor(ctx, b.For), trial.ID(r.Trial), trial.Outing{
		ID: trial.ID(r.Outing), Water: b.Water, Cell: placeTo(b.Place), StartedAt: b.StartedAt, StartedLate: or(b.StartedLate, false),
		WaterTemperature: measureTo(b.WaterTemperature), Conditions: or(b.Conditions, ""), Note: or(b.Note, ""), ProtocolVersion: or(b.ProtocolVersion, 0),
	})
	if err != nil {
		return nil, err
	}
	body, err := h.outing(ctx, r.Trial, view)
	if err != nil {
		return nil, err
	}
	if !view.Created {
		return openapi.PutOuting200JSONResponse{Body: body, Headers: openapi.PutOuting200ResponseHeaders{ETag: etag(body.Version)}}, nil
	}
	return openapi.PutOuting201JSONResponse{
		Body:    body,
		Headers: openapi.PutOuting201ResponseHeaders{ETag: etag(body.Version), Location: outingAddress(r.Trial, r.Outing)},
	}, nil
}

// PutOutingEnd ends an outing.
func (h *handlers) PutOutingEnd(ctx context.Context, r openapi.PutOutingEndRequestObject) (openapi.PutOutingEndResponseObject, error) {
	view, err := h.service.EndOuting(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Outing), trial.OutingEnd{
		EndedAt: r.Body.EndedAt, Reason: r.Body.Reason, NotLogged: r.Body.NotLogged,
	})
	if err != nil {
		return nil, err
	}
	body, err := h.outing(ctx, r.Trial, view)
	if err != nil {
		return nil, err
	}
	if !view.Created {
		return openapi.PutOutingEnd200JSONResponse{Body: body, Headers: openapi.PutOutingEnd200ResponseHeaders{ETag: etag(body.Version)}}, nil
	}
	return openapi.PutOutingEnd201JSONResponse{
		Body:    body,
		Headers: openapi.PutOutingEnd201ResponseHeaders{ETag: etag(body.Version), Location: outingAddress(r.Trial, r.Outing)},
	}, nil
}

// GetOuting returns one of the actor's outings.
func (h *handlers) GetOuting(ctx context.Context, r openapi.GetOutingRequestObject) (openapi.GetOutingResponseObject, error) {
	view, err := h.service.Outing(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Outing))
	if err != nil {
		return nil, err
	}
	body, err := h.outing(ctx, r.Trial, view)
	return openapi.GetOuting200JSONResponse{Body: body, Headers: openapi.GetOuting200ResponseHeaders{ETag: etag(body.Version)}}, err
}

// AmendOuting corrects an outing.
func (h *handlers) AmendOuting(ctx context.Context, r openapi.AmendOutingRequestObject) (openapi.AmendOutingResponseObject, error) {
	c, err := correctionOf(r.Params.IfMatch, r.Body.Reason, r.Body)
	if err != nil {
		return nil, err
	}
	view, err := h.service.AmendOuting(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Outing), c)
	if err != nil {
		return nil, err
	}
	body, err := h.outing(ctx, r.Trial, view)
	return openapi.AmendOuting200JSONResponse{Body: body, Headers: openapi.AmendOuting200ResponseHeaders{ETag: etag(body.Version)}}, err
}

// ListOutingAmendments lists an outing's corrections.
func (h *handlers) ListOutingAmendments(ctx context.Context, r openapi.ListOutingAmendmentsRequestObject) (openapi.ListOutingAmendmentsResponseObject, error) {
	list, err := h.service.Amendments(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Outing))
	if err != nil {
		return nil, err
	}
	items, err := amendmentsFrom(list)
	return openapi.ListOutingAmendments200JSONResponse{Items: items}, err
}

// ListOutings lists the actor's outings.
func (h *handlers) ListOutings(ctx context.Context, r openapi.ListOutingsRequestObject) (openapi.ListOutingsResponseObject, error) {
	p, err := pageOf(r.Params.After, r.Params.Limit)
	if err != nil {
		return nil, err
	}
	views, err := h.service.Outings(ctx, actorFor(ctx, r.Params.For), trial.ID(r.Trial), p.toTrial())
	if err != nil {
		return nil, err
	}
	views, next := cut(p, views, func(v conduct.OutingView) trial.ID { return v.Outing.ID }, "/v1/trials/%s/outings", r.Trial)
	items := make([]openapi.Outing, len(views))
	for i, view := range views {
		if items[i], err = h.outing(ctx, r.Trial, view); err != nil {
			return nil, err
		}
	}
	return openapi.ListOutings200JSONResponse{
		Body:    openapi.OutingList{Items: items},
		Headers: openapi.ListOutings200ResponseHeaders{Link: next},
	}, nil
}

func outingAddress(t, outing openapi_types.UUID) string {
	return fmt.Sprintf("/v1/trials/%s/outings/%s", t, outing)
}

// outing converts an outing, with the protocol's cautions when the water asks for care.
func (h *handlers) outing(ctx context.Context, t openapi.TrialID, v conduct.OutingView) (openapi.Outing, error) {
	o := v.Outing
	out := openapi.Outing{
		ID: openapi_types.UUID(o.ID), Water: o.Water, StartedAt: o.StartedAt, StartedLate: o.StartedLate, WaterTemperature: measureFrom(o.WaterTemperature),
		Conditions: o.Conditions, Note: o.Note, ProtocolVersion: o.ProtocolVersion, ReceivedAt: o.ReceivedAt,
		Welfare: openapi.WelfareState(v.Welfare), Cautions: []openapi.Caution{},
		Version: o.Version, Void: o.Void, Disputed: o.Disputed, LatestTemperature: measureFrom(v.Water),
		Warnings: each(v.Warnings, func(w trial.Warning) openapi.Warning { return openapi.Warning{Code: w.Code, Detail: w.Detail} }),
		Place:    placeFrom(o.Cell), PlaceDropped: openapi.OutingPlaceDropped(v.PlaceDropped),
	}
	if o.End != nil {
		out.End = &openapi.OutingEnd{EndedAt: o.End.EndedAt, Reason: openapi.OutingEndReason(o.End.Reason), NotLogged: o.End.NotLogged, ReceivedAt: o.End.ReceivedAt}
	}
	if v.Welfare == trial.WelfareFine {
		return out, nil
	}
	p, err := h.service.Protocol(ctx, actorOf(ctx), trial.ID(t))
	if err != nil {
		return out, err
	}
	out.Cautions = each(p.Protocol.Welfare.Cautions, func(c trial.Caution) openapi.Caution {
		return openapi.Caution{Topic: c.Topic, Text: c.Text, Source: c.Source}
	})
	return out, nil
}

// placeTo writes a place in one way; one that gives neither or both is none that the rules accept.
func placeTo(p *openapi.NewPlace) string {
	switch {
	case p == nil:
		return ""
	case p.Cell != nil && *p.Cell != "" && p.Latitude == nil && p.Longitude == nil:
		return *p.Cell
	case p.Cell == nil && p.Latitude != nil && p.Longitude != nil:
		return trial.PlaceAt(*p.Latitude, *p.Longitude)
	}
	return "none"
}

func placeFrom(cell string) *openapi.Place {
	if cell == "" {
		return nil
	}
	grid := trial.GridOf(cell)
	return &openapi.Place{Cell: cell, Degrees: trial.CellSize(grid), UncertaintyM: trial.CellUncertainty(grid)}
}
