package api

import (
	"net"
	"net/http"
	"net/netip"

	"github.com/labstack/echo/v4"
)

// transportPolicy makes browsers come by https alone for two years (RFC 6797).
const transportPolicy = "max-age=63072000"

// encrypted refuses what could have been read on its way: plain HTTP is answered to this machine and to trusted proxies
// alone, and not to those when they say that their client came by plain HTTP. Only /healthz and /readyz, which tell
// nothing, answer anybody.
func (s *Server) encrypted(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		forwarded := r.Header.Get(echo.HeaderXForwardedProto)
		if r.TLS != nil || forwarded == "https" {
			c.Response().Header().Set(echo.HeaderStrictTransportSecurity, transportPolicy)
		}
		probe := r.URL.Path == "/healthz" || r.URL.Path == "/readyz"
		if r.TLS != nil || probe || !s.requireTLS {
			return next(c)
		}
		local, trusted := s.peer(r.RemoteAddr)
		if !local && !trusted || trusted && forwarded == "http" {
			return refuse(http.StatusForbidden, "https.required", "this service answers by https only; what was sent could be read on its way, so change the address, and make a new token if one was sent")
		}
		return next(c)
	}
}

// peer says who is at the other end of the connection: this machine, a trusted proxy, or neither.
func (s *Server) peer(address string) (local, trusted bool) {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false, false
	}
	ip, err := netip.ParseAddr(host)
	if err != nil {
		return false, false
	}
	ip = ip.Unmap().WithZone("")
	for _, p := range s.proxies {
		if p.Contains(ip) {
			return false, true
		}
	}
	return ip.IsLoopback(), false
}
