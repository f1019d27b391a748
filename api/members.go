package api

import (
	"context"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// RemoveMember ends a membership.
func (h *handlers) RemoveMember(ctx context.Context, r openapi.RemoveMemberRequestObject) (openapi.RemoveMemberResponseObject, error) {
	if err := h.service.RemoveMember(ctx, actorOf(ctx), trial.ID(r.Club), trial.ID(r.Account)); err != nil {
		return nil, err
	}
	return openapi.RemoveMember204Response{}, nil
}

// ListClubEvents lists what was done to members' accounts in the club's name.
func (h *handlers) ListClubEvents(ctx context.Context, r openapi.ListClubEventsRequestObject) (openapi.ListClubEventsResponseObject, error) {
	events, err := h.service.ClubEvents(ctx, actorOf(ctx), trial.ID(r.Club))
	if err != nil {
		return nil, err
	}
	return openapi.ListClubEvents200JSONResponse{Items: each(events, eventFrom)}, nil
}

// ListHandovers lists the offers of the organiser's role that stand.
func (h *handlers) ListHandovers(ctx context.Context, r openapi.ListHandoversRequestObject) (openapi.ListHandoversResponseObject, error) {
	offers, err := h.service.Handovers(ctx, actorOf(ctx), trial.ID(r.Club))
	if err != nil {
		return nil, err
	}
	return openapi.ListHandovers200JSONResponse{Items: each(offers, handoverFrom)}, nil
}

// OfferRole offers the actor's role of organiser to a member.
func (h *handlers) OfferRole(ctx context.Context, r openapi.OfferRoleRequestObject) (openapi.OfferRoleResponseObject, error) {
	offer, err := h.service.OfferRole(ctx, actorOf(ctx), trial.ID(r.Club), trial.ID(r.Body.To))
	if err != nil {
		return nil, err
	}
	return openapi.OfferRole201JSONResponse(handoverFrom(offer)), nil
}

// TakeRole takes an offered role.
func (h *handlers) TakeRole(ctx context.Context, r openapi.TakeRoleRequestObject) (openapi.TakeRoleResponseObject, error) {
	if err := h.service.TakeRole(ctx, actorOf(ctx), trial.ID(r.Club), trial.ID(r.Handover)); err != nil {
		return nil, err
	}
	cookie, err := h.rotate(ctx)
	return openapi.TakeRole204Response{Headers: openapi.TakeRole204ResponseHeaders{SetCookie: cookie}}, err
}

// EndOffer withdraws or declines an offer.
func (h *handlers) EndOffer(ctx context.Context, r openapi.EndOfferRequestObject) (openapi.EndOfferResponseObject, error) {
	if err := h.service.EndOffer(ctx, actorOf(ctx), trial.ID(r.Club), trial.ID(r.Handover)); err != nil {
		return nil, err
	}
	return openapi.EndOffer204Response{}, nil
}

func handoverFrom(h trial.Handover) openapi.Handover {
	return openapi.Handover{
		ID: openapi_types.UUID(h.ID), From: openapi_types.UUID(h.From), To: openapi_types.UUID(h.To), OfferedAt: h.OfferedAt, ExpiresAt: h.ExpiresAt,
	}
}
