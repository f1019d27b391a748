package conduct

import "evenrig/service/trial"

// PlaceDropped says why nothing of a place is kept; empty where something is, or none was sent.
type PlaceDropped string

// The reasons: the protocol keeps no places, or the angler did not allow it.
const (
	DroppedByGrid    PlaceDropped = "no_grid"
	DroppedByConsent PlaceDropped = "no_consent"
)

// settlePlace makes a place as coarse as it may be kept, before anything else is done with it: the cell of the protocol's
// grid, if the angler's tick allows it. found is the error of looking the outing up. An outing that stands is compared by what was
// kept of it, so that the same one sent again stays the same, whatever its angler has ticked since and however finely the phone
// knows the spot now.
func (o *own) settlePlace(place string, stored trial.Outing, found error) (cell string, dropped PlaceDropped, err error) {
	if place == "" {
		return "", "", nil
	}
	cell, err = o.protocol.CellOf(place)
	if err != nil {
		return "", "", err
	}
	stands := found == nil && stored.EnrolmentID == o.enrolment.ID
	switch {
	case cell == "":
		return "", DroppedByGrid, nil
	case stands && stored.Cell == "", !stands && !o.enrolment.Consent.PlaceCoarse:
		return "", DroppedByConsent, nil
	}
	return cell, "", nil
}
