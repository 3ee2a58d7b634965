package fill

import "mouldwright/internal/geom"

var frameTo = geom.FrameTo
