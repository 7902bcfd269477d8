// Package rules holds the checks, one rule a file with its test beside it.
package rules

import "prestrike/audit"

// All returns every rule, in the order of the report.
func All() []*audit.Rule {
	return []*audit.Rule{
		missingFrame,
		numberJump,
		intervalGap,
		cadenceBreak,
		shortSequence,
		sisterDiffers,
		focusGap,
		focusTurn,
		focusStall,
		nearEdge,
		farEdge,
		moved,
		darkFrame,
		flashMissed,
		brightnessDrift,
		banding,
		bracketRange,
		softFrame,
		isoDrift,
		exposureDrift,
		apertureDrift,
		whiteBalance,
		focalLengthDrift,
		frameTurn,
		sizeChange,
		autoExposure,
		handheldShutter,
		diffraction,
		shutterShock,
		syncSpeed,
		mainsFlicker,
		highISO,
		leftOver,
		intervalOverrun,
		intervalJitter,
		unreadableFile,
		tornFile,
		noExif,
		lonePair,
		repeatedFrame,
		numberReuse,
		clockStep,
	}
}
