package web

import "slices"

// tableRoutes are the pages at the table: accounts, clubs, trials and what their organisers, anglers and scrutineers do there.
func (s *Site) tableRoutes() []Route {
	return slices.Concat(s.doorRoutes(), s.meRoutes(), s.clubRoutes(), s.trialRoutes(), s.protocolRoutes(), s.ownRoutes(), s.byWaterRoutes(), s.nightRoutes(), s.progressRoutes(), s.importRoutes(), s.printRoutes(), s.changeRoutes(), s.disputeRoutes(), s.notingRoutes(), s.cardRoutes(), s.outstandingRoutes(), s.scrutinyRoutes(), s.flyRoutes(), s.waitingRoutes(), s.serverRoutes())
}
