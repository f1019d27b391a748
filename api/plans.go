package api

import (
	"context"

	"evenrig/openapi"
	"evenrig/service/conduct"
)

// GetUsualSize returns the planner's usual question.
func (h *handlers) GetUsualSize(context.Context, openapi.GetUsualSizeRequestObject) (openapi.GetUsualSizeResponseObject, error) {
	q, err := recode[openapi.SizeQuestion](h.service.UsualSize())
	return openapi.GetUsualSize200JSONResponse(q), err
}

// PlanSize answers how large a trial must be.
func (h *handlers) PlanSize(ctx context.Context, r openapi.PlanSizeRequestObject) (openapi.PlanSizeResponseObject, error) {
	q, err := recode[conduct.SizeQuestion](*r.Body)
	if err != nil {
		return nil, err
	}
	answer, err := h.service.PlanSize(ctx, q)
	if err != nil {
		return nil, err
	}
	out, err := recode[openapi.SizeAnswer](answer)
	return openapi.PlanSize200JSONResponse(out), err
}
