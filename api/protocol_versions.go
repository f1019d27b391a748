package api

import (
	"context"
	"fmt"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// ListProtocolVersions lists a rule sheet's versions.
func (h *handlers) ListProtocolVersions(ctx context.Context, r openapi.ListProtocolVersionsRequestObject) (openapi.ListProtocolVersionsResponseObject, error) {
	views, err := h.service.ProtocolVersions(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	items := make([]openapi.ProtocolVersion, len(views))
	for i, v := range views {
		if items[i], err = versionFrom(v); err != nil {
			return nil, err
		}
		items[i].Protocol = nil
	}
	return openapi.ListProtocolVersions200JSONResponse{Items: items}, nil
}

// GetProtocolVersion returns one version of a rule sheet.
func (h *handlers) GetProtocolVersion(ctx context.Context, r openapi.GetProtocolVersionRequestObject) (openapi.GetProtocolVersionResponseObject, error) {
	view, err := h.service.ProtocolVersion(ctx, actorOf(ctx), trial.ID(r.Trial), r.Version)
	if err != nil {
		return nil, err
	}
	body, err := versionFrom(view)
	return openapi.GetProtocolVersion200JSONResponse(body), err
}

// AmendProtocol puts another version of a registered rule sheet into force.
func (h *handlers) AmendProtocol(ctx context.Context, r openapi.AmendProtocolRequestObject) (openapi.AmendProtocolResponseObject, error) {
	seen, err := seenVersion(r.Params.IfMatch)
	if err != nil {
		return nil, err
	}
	p, err := recode[trial.Protocol](r.Body.Protocol)
	if err != nil {
		return nil, err
	}
	view, err := h.service.AmendProtocol(ctx, actorOf(ctx), trial.ID(r.Trial), seen, p, r.Body.Reason)
	if err != nil {
		return nil, err
	}
	body, err := versionFrom(view)
	return openapi.AmendProtocol201JSONResponse{
		Body:    body,
		Headers: openapi.AmendProtocol201ResponseHeaders{Location: fmt.Sprintf("/v1/trials/%s/protocol/versions/%d", r.Trial, view.Version)},
	}, err
}

func versionFrom(v conduct.VersionView) (openapi.ProtocolVersion, error) {
	out := openapi.ProtocolVersion{Version: v.Version, At: v.At, By: idOrNil(v.By), Reason: v.Reason, Fingerprint: v.Fingerprint.String(), Changes: []openapi.ProtocolChange{}}
	for _, c := range v.Changes {
		change, err := recode[openapi.ProtocolChange](c)
		if err != nil {
			return out, err
		}
		out.Changes = append(out.Changes, change)
	}
	p, err := recode[openapi.Protocol](v.Protocol)
	out.Protocol = &p
	return out, err
}
