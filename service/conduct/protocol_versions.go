package conduct

import (
	"context"
	"crypto/sha256"

	"evenrig/service/trial"
)

// VersionView is one version of a trial's rule sheet: what it changed in the one before, and its fingerprint, the SHA-256 of its
// canonical JSON.
type VersionView struct {
	trial.ProtocolVersion
	Fingerprint trial.Digest
	Changes     []trial.ProtocolChange
}

// ProtocolVersions lists the versions of a registered trial's rule sheet, oldest first.
func (s *Service) ProtocolVersions(ctx context.Context, actor trial.Actor, id trial.ID) (views []VersionView, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := inTrial(ctx, tx, actor, id, trial.ReadTrial)
		if err != nil || t.RegisteredAt == nil {
			return err
		}
		views, err = versionsOf(ctx, tx, id)
		return err
	})
	return views, err
}

// ProtocolVersion returns one version of a registered trial's rule sheet.
func (s *Service) ProtocolVersion(ctx context.Context, actor trial.Actor, id trial.ID, version int) (VersionView, error) {
	views, err := s.ProtocolVersions(ctx, actor, id)
	if err != nil {
		return VersionView{}, err
	}
	if version < 1 || version > len(views) {
		return VersionView{}, trial.Missing("version")
	}
	return views[version-1], nil
}

func versionsOf(ctx context.Context, tx trial.ReadTx, id trial.ID) ([]VersionView, error) {
	versions, err := tx.ProtocolsOf(ctx, id)
	if err != nil {
		return nil, err
	}
	views := make([]VersionView, len(versions))
	for i, v := range versions {
		views[i] = VersionView{ProtocolVersion: v, Fingerprint: sha256.Sum256(v.Canonical)}
		if i > 0 {
			if views[i].Changes, err = versions[i-1].Protocol.Changes(v.Protocol); err != nil {
				return nil, err
			}
		}
	}
	return views, nil
}

// AmendProtocol makes p the next version of a registered trial's rule sheet, for the reason given; seen is the revision that
// the organiser last read. What was registered stands, and so does the commitment to it; the new version is written into the
// organiser's chain. Outings that a phone opens under the version before stay under it.
func (s *Service) AmendProtocol(ctx context.Context, actor trial.Actor, id trial.ID, seen int, p trial.Protocol, reason string) (view VersionView, err error) {
	now, salts := s.now(), s.salts()
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.AmendProtocol); err != nil {
			return err
		}
		t, err := tx.LockTrial(ctx, id)
		if err != nil {
			return err
		}
		if err := t.Amendable(); err != nil {
			return err
		}
		if err := trial.CheckVersion("protocol", seen, t.Revision); err != nil {
			return err
		}
		before, was, err := tx.ProtocolBy(ctx, id, t.ProtocolVersion)
		if err != nil {
			return err
		}
		p.Nonce = before.Nonce
		changes, err := before.Amends(p, reason)
		if err != nil {
			return err
		}
		text, err := canonical(p)
		if err != nil {
			return err
		}
		t.ProtocolVersion, t.Revision = t.ProtocolVersion+1, t.Revision+1
		view = VersionView{
			ProtocolVersion: trial.ProtocolVersion{
				TrialID: id, Version: t.ProtocolVersion, Protocol: p, Canonical: text, At: now, By: actor.AccountID, Reason: reason,
			},
			Fingerprint: sha256.Sum256(text), Changes: changes,
		}
		if err := tx.InsertVersion(ctx, view.ProtocolVersion); err != nil {
			return err
		}
		if err := tx.UpdateTrial(ctx, t); err != nil {
			return err
		}
		r, err := versionRecord(salts, view, sha256.Sum256(was))
		if err != nil {
			return err
		}
		return appendOrganisers(ctx, tx, id, trial.LedgerProtocol, r)
	})
	if err != nil {
		return VersionView{}, err
	}
	return view, nil
}

// versionRecord is what the organiser's chain keeps of a version. What changed stands in the private part: waters are named
// there.
func versionRecord(salts trial.Parts, v VersionView, previous trial.Digest) (record, error) {
	changed := make([]string, len(v.Changes))
	for i, c := range v.Changes {
		changed[i] = c.Field
	}
	plan, err := planDigest(v.Protocol)
	if err != nil {
		return record{}, err
	}
	return recordOf(salts,
		fields{"version": v.Version, "protocol": v.Fingerprint, "plan": plan, "previous": previous, "fields": changed, "reason": v.Reason, "week": week(v.At)},
		fields{"by": v.By, "at": at(v.At), "changes": v.Changes},
	)
}
