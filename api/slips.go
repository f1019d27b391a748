package api

import (
	"context"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// PrintSlips draws a sheet of sealed slips.
func (h *handlers) PrintSlips(ctx context.Context, r openapi.PrintSlipsRequestObject) (openapi.PrintSlipsResponseObject, error) {
	printed, err := h.service.PrintSlips(ctx, actorOf(ctx), trial.ID(r.Trial), trial.ID(r.Body.Enrolment), r.Body.Count)
	if err != nil {
		return nil, err
	}
	return openapi.PrintSlips201JSONResponse{Sheet: printed.Sheet.N, Pseudonym: printed.Pseudonym, Slips: each(printed.Slips, func(s conduct.Slip) openapi.PrintedSlip {
		return openapi.PrintedSlip{Number: s.Number, First: openapi.Arrangement(s.First), Lower: s.Lower, Upper: s.Upper}
	})}, nil
}

// ListSlips lists who printed which slips for whom.
func (h *handlers) ListSlips(ctx context.Context, r openapi.ListSlipsRequestObject) (openapi.ListSlipsResponseObject, error) {
	views, err := h.service.SlipSheets(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListSlips200JSONResponse{Items: each(views, func(v conduct.SlipSheetView) openapi.SlipSheet {
		return openapi.SlipSheet{
			Sheet: v.Sheet.N, Pseudonym: v.Pseudonym, From: v.Sheet.First, To: v.Sheet.Last, PrintedBy: v.PrintedBy, PrintedAt: v.Sheet.PrintedAt,
			Opened: append([]int{}, v.Opened...),
		}
	})}, nil
}
