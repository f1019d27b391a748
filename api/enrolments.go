package api

import (
	"context"
	"encoding/hex"
	"fmt"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// PutEnrolment joins the actor to a trial.
func (h *handlers) PutEnrolment(ctx context.Context, r openapi.PutEnrolmentRequestObject) (openapi.PutEnrolmentResponseObject, error) {
	e, err := enrolmentTo(r.Enrolment, r.Body.Code, r.Body.Consent)
	if err != nil {
		return nil, err
	}
	view, err := h.service.Enrol(ctx, actorOf(ctx), trial.ID(r.Trial), e)
	if err != nil {
		return nil, err
	}
	out := enrolmentFrom(view.Enrolment)
	out.Receipt = receiptFrom(&view.Receipt)
	if !view.Created {
		return openapi.PutEnrolment200JSONResponse(out), nil
	}
	return openapi.PutEnrolment201JSONResponse{
		Body:    out,
		Headers: openapi.PutEnrolment201ResponseHeaders{Location: fmt.Sprintf("/v1/trials/%s/enrolment", r.Trial)},
	}, nil
}

// GetEnrolment returns the actor's own enrolment.
func (h *handlers) GetEnrolment(ctx context.Context, r openapi.GetEnrolmentRequestObject) (openapi.GetEnrolmentResponseObject, error) {
	e, err := h.service.Enrolment(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.GetEnrolment200JSONResponse(enrolmentFrom(e)), nil
}

// ListEnrolments lists who has joined, for the organiser.
func (h *handlers) ListEnrolments(ctx context.Context, r openapi.ListEnrolmentsRequestObject) (openapi.ListEnrolmentsResponseObject, error) {
	list, err := h.service.Enrolments(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListEnrolments200JSONResponse{Items: each(list, func(e trial.Enrolment) openapi.EnrolledAngler {
		return openapi.EnrolledAngler{
			ID: openapi_types.UUID(e.ID), Name: orNil(e.Name), Pseudonym: e.Pseudonym, EnrolledAt: e.EnrolledAt, LeftAt: e.LeftAt, ErasedAt: e.ErasedAt,
			Minor: e.Consent.Minor, GuardianConfirmedAt: e.GuardianAt,
		}
	})}, nil
}

// Withdraw ends the actor's part in a trial.
func (h *handlers) Withdraw(ctx context.Context, r openapi.WithdrawRequestObject) (openapi.WithdrawResponseObject, error) {
	if err := h.service.Withdraw(ctx, actorOf(ctx), trial.ID(r.Trial), r.Body.Erase); err != nil {
		return nil, err
	}
	return openapi.Withdraw204Response{}, nil
}

// ChangeConsent changes the actor's own ticks.
func (h *handlers) ChangeConsent(ctx context.Context, r openapi.ChangeConsentRequestObject) (openapi.ChangeConsentResponseObject, error) {
	e, err := h.service.ChangeConsent(ctx, actorOf(ctx), trial.ID(r.Trial), conduct.ConsentChange{
		PublishOpen: r.Body.PublishOpen, PlaceCoarse: r.Body.PlaceCoarse, ContactAgain: r.Body.ContactAgain,
	})
	if err != nil {
		return nil, err
	}
	return openapi.ChangeConsent200JSONResponse(enrolmentFrom(e)), nil
}

// ConfirmGuardian notes that the actor has seen a guardian's yes.
func (h *handlers) ConfirmGuardian(ctx context.Context, r openapi.ConfirmGuardianRequestObject) (openapi.ConfirmGuardianResponseObject, error) {
	if err := h.service.ConfirmGuardian(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Enrolment)); err != nil {
		return nil, err
	}
	return openapi.ConfirmGuardian204Response{}, nil
}

// enrolmentTo is an enrolment as it is sent: its id, the angler's own code in hexadecimal digits, and the consent.
func enrolmentTo(id openapi_types.UUID, code string, consent openapi.Consent) (trial.Enrolment, error) {
	random, err := hex.DecodeString(code)
	if err != nil || len(random) != 32 {
		var f trial.Faults
		f.Add("code", "has %d characters; accepted: 32 random bytes as 64 hexadecimal digits", len(code))
		return trial.Enrolment{}, f.Err("enrolment.invalid", "the enrolment has faults")
	}
	return trial.Enrolment{ID: trial.ID(id), Code: [32]byte(random), Consent: consentTo(consent)}, nil
}

func enrolmentFrom(e trial.Enrolment) openapi.Enrolment {
	return openapi.Enrolment{
		ID: openapi_types.UUID(e.ID), Pseudonym: e.Pseudonym, Consent: consentFrom(e.Consent), EnrolledAt: e.EnrolledAt, LeftAt: e.LeftAt,
		GuardianConfirmedAt: e.GuardianAt,
	}
}

func consentTo(c openapi.Consent) trial.Consent {
	return trial.Consent{
		TakePart: c.TakePart, Store: c.Store, SharePseudonymous: c.SharePseudonymous, LicenceConfirmed: c.LicenceConfirmed,
		AdultOrGuardian: c.AdultOrGuardian, PublishOpen: c.PublishOpen, ContactAgain: c.ContactAgain, PlaceCoarse: or(c.PlaceCoarse, false),
		Minor: or(c.Minor, false),
	}
}

func consentFrom(c trial.Consent) openapi.Consent {
	return openapi.Consent{
		TakePart: c.TakePart, Store: c.Store, SharePseudonymous: c.SharePseudonymous, LicenceConfirmed: c.LicenceConfirmed,
		AdultOrGuardian: c.AdultOrGuardian, PublishOpen: c.PublishOpen, ContactAgain: c.ContactAgain, PlaceCoarse: &c.PlaceCoarse,
		Minor: &c.Minor,
	}
}
