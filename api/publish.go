package api

import (
	"context"
	"fmt"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// PublishTrial asks for the package of a locked trial.
func (h *handlers) PublishTrial(ctx context.Context, r openapi.PublishTrialRequestObject) (openapi.PublishTrialResponseObject, error) {
	e, err := h.service.PublishTrial(ctx, actorOf(ctx), trial.ID(r.Trial), conduct.NewPublication{
		Licence: r.Body.Licence, NameClub: r.Body.NameClub, Remarks: or(r.Body.Remarks, ""),
	})
	if err != nil {
		return nil, err
	}
	return openapi.PublishTrial202JSONResponse{
		Body:    editionFrom(e),
		Headers: openapi.PublishTrial202ResponseHeaders{Location: fmt.Sprintf("/v1/trials/%s/publication", r.Trial)},
	}, nil
}

// ListEditions lists the editions of a trial's package.
func (h *handlers) ListEditions(ctx context.Context, r openapi.ListEditionsRequestObject) (openapi.ListEditionsResponseObject, error) {
	list, err := h.service.Publications(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListEditions200JSONResponse{Items: each(list, editionFrom)}, nil
}

func editionFrom(e trial.Publication) openapi.Edition {
	return openapi.Edition{
		Edition: e.Edition, State: openapi.EditionState(e.State), Licence: e.Licence, Remarks: e.Remarks, AskedAt: e.AskedAt, MadeAt: e.MadeAt,
		WithdrawnAt: e.WithdrawnAt, Why: e.Why, Failure: e.Failure, Package: digestOrNil(e.Package), Size: e.Size,
	}
}

// ListDraw lists the units that the draw has handed out.
func (h *handlers) ListDraw(ctx context.Context, r openapi.ListDrawRequestObject) (openapi.ListDrawResponseObject, error) {
	units, err := h.service.HandedOut(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListDraw200JSONResponse{Items: each(units, func(u trial.HandedOut) openapi.DrawUnit {
		return openapi.DrawUnit{
			Angler: u.Pseudonym, ID: openapi_types.UUID(u.ID), N: u.N, First: orNil(openapi.Arrangement(u.First)), SameFlyCheck: u.SameFlyCheck,
			DrawnBy: openapi.DrawnBy(u.DrawnBy), FetchedAt: u.FetchedAt, OpenedAt: u.OpenedAt, FishedAt: u.FishedAt, LostAt: u.LostAt,
		}
	})}, nil
}

// ReadPackage reads a package into a club.
func (h *handlers) ReadPackage(ctx context.Context, r openapi.ReadPackageRequestObject) (openapi.ReadPackageResponseObject, error) {
	copied, err := h.service.ReadPackage(ctx, actorOf(ctx), trial.ID(r.Club), r.Body)
	if err != nil {
		return nil, err
	}
	body := openapi.PackageRead{
		Trial: trialFrom(copied.Trial),
		Findings: each(copied.Findings.Findings, func(f conduct.Finding) openapi.PackageFinding {
			return openapi.PackageFinding{Part: f.Part, Outcome: openapi.PackageFindingOutcome(f.Outcome), Text: f.Text}
		}),
	}
	if !copied.Created {
		return openapi.ReadPackage200JSONResponse(body), nil
	}
	return openapi.ReadPackage201JSONResponse{
		Body: body, Headers: openapi.ReadPackage201ResponseHeaders{Location: fmt.Sprintf("/v1/trials/%s", copied.Trial.Trial.ID)},
	}, nil
}

func originFrom(o *trial.CopyOrigin) *openapi.CopyOrigin {
	if o == nil {
		return nil
	}
	return &openapi.CopyOrigin{
		Trial: openapi_types.UUID(o.Trial), Edition: o.Edition, Package: o.Package.String(), Licence: o.Licence, Club: o.Club, ReadAt: o.ReadAt,
	}
}
