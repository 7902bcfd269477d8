package pixels

// Single frames that are compared with others of the same view. Chosen on rendered scenes
// with even seeds, 22000 to 22038.
const (
	// stillFrames is the number of frames of a run up to which each is kept by itself.
	stillFrames = 4
	// stillTile is the side of a tile, cells, and stillSliver the part of a cell that is let go.
	stillTile, stillSliver = 4, 0.02
	// stillPlain is the share of the cells that must be plain to show the noise.
	stillPlain = 0.01
	// Pictures are passed over that have less than a correlation of glimpseAlike when they are
	// reduced to a long side of some glimpseSide pixels.
	glimpseSide, glimpseAlike = 32, 0.6
	// detailBlock is the deviation of a block of the small picture from which it shows where
	// it lies, code values: noise of ISO 800 leaves a quarter of that.
	detailBlock = 1.5
	// stillCoarse passes of the binomial kernel take out the detail that a missed focus does. They
	// are asked where less than stillUnexplained of the variance is left, as of pictures that
	// differ in blur. The same view is then what stays under these: a turn by 5° has an Apart03 of
	// 0.1 and more. By what they leave the contrast of two pictures is compared: shakes that made
	// edges 1.5 times as wide took 1 to 3 % of its variance.
	stillCoarse, stillUnexplained           = 4, 0.5
	stillApart03, stillApart05, stillUnlike = 0.07, 0.035, 0.2
	// stillEV is by how much the light of the two may differ: beyond it tone curves and the
	// ends of the scale change what is compared.
	stillEV = 1.25
	// A tile counts where one of the two has stillEnergy times MinEnergy; stillTiles are needed.
	// Of these, stillFinest have the finest detail.
	stillEnergy, stillTiles = 2, 24
	stillFinest             = 0.35
	// stillDrowned is how many places may be lost in noise for each that counts: of real pictures
	// with texture 2.3 were, and of two that were falsely found soft, at ISO 3200 and with a third of
	// the usual contrast, 5.6 and 8.8.
	stillDrowned = 4
	// stillLoss is the median loss of these, ln: sound pairs have up to 0.41, where the one is
	// moved by parts of a pixel, and a blur that doubles the width of edges makes more than 0.5.
	// stillLossLeast is that of all but stillNearlyAll of the tiles.
	stillLoss, stillLossLeast, stillNearlyAll = 0.46, 0.15, 0.25
	// A frame is sharper elsewhere where a connected set of tiles gains stillSharper, more than
	// stillSharperTiles and than stillSharperShare of all.
	stillSharper, stillSharperTiles, stillSharperShare = 0.25, 2, 0.04
)

// Single frames that are compared with focus sequences. Chosen on rendered scenes with even
// seeds, 64000 to 64058.
const (
	// inRunNoise is the least deviation of ln sharpness that is believed.
	inRunNoise = 0.1
	// inRunEnds is the share of the tiles that lie beyond either end of the subject, and
	// inRunGrid the distance of the places that are tried, steps: as far beyond the run as
	// inRunReach, or inRunReachShare of it.
	inRunEnds, inRunGrid        = 0.03, 0.25
	inRunReach, inRunReachShare = 4, 0.5
	// inRunWidest is the farthest place from the middle of a run, steps: those of runs that
	// are not too long to keep are less.
	inRunWidest = 2000
	// inRunCommon is by how much all tiles may differ, ln, where a frame is in focus beyond the
	// subject.
	inRunCommon = 0.15
	// inRunSharpest is the percentile of the tiles that is compared.
	inRunSharpest = 0.9
	// inRunCleared is the loss that must be left when what all detail alike loses is taken out,
	// ln, unless the frame fits the curves beyond the subject with less than inRunBeyond
	// times the misfit inside: of sound frames in softer light the largest left is 0.17.
	inRunCleared, inRunBeyond = 0.2, 0.7
	// inRunFits is the misfit that a frame may have beyond the subject, where the pictures by
	// themselves are not alike.
	inRunFits = 0.55
)
