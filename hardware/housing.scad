// A housing for the probe: a hood that sheds rain, a base that closes it from below, a stake, and a sun shield.
// All lengths in mm. Print: hood roof down, base upper face down, stake and plates flat; no supports. PETG or ASA, white.
// Build one part:  openscad -o hood.stl -D 'part="hood"' housing.scad

part = "together";      // hood, base, stake, shield_top, shield_plate, together, apart, section
heads = 1;              // 1 to 4; one cable gland for each, and one for the air sensor

glands = heads + 1;
inside = [glands > 4 ? 80 : 58, 58, 84];  // width, depth, height: a 50 x 70 strip board in front of an 18650 in its holder
wall = 2.4;
roof = 3;
overhang = 8;           // how far the roof stands out over the walls
drip_depth = 1.6;       // groove under the roof's rim: water falls off there instead of running inwards
drip_width = 2;
fit = 0.3;              // play between hood and base
skirt = 9;              // how far the walls hang below the base: the seam looks down, water drips off before it
plate = 4;              // thickness of the base
gland_hole = 12.5;      // PG7
gland_nut = 19;         // across its corners
weep_hole = 2;          // lets condensation out; cover with a scrap of fine mesh
screw_hole = 2.7;       // M3 self-tapping
screw_clear = 3.4;
boss = 8;
stake_width = 28;
stake_thick = 5;
stake_length = 180;
socket_depth = 26;
shield_size = 64;
shield_room = 26;       // the hole in the plates, for the air sensor's board
shield_gap = 8;

$fn = 48;

outside = [inside.x + 2 * wall, inside.y + 2 * wall, inside.z + plate + skirt];
socket = [stake_width + 2 * wall + 2 * fit, stake_thick + 2 * wall + 2 * fit, socket_depth];
lid = [inside.x - 2 * fit, inside.y - 2 * fit, plate];
gland_step = gland_nut + 2;
columns = glands > 4 ? 3 : 2;
rows = glands > 2 ? 2 : 1;

assert(heads >= 1 && heads <= 4, "heads: 1 to 4");
gland_y = -socket.y / 2;        // forward of the socket
socket_y = lid.y / 2 - socket.y / 2;
nuts = [(columns - 1) * gland_step + gland_nut, (rows - 1) * gland_step + gland_nut];
assert(nuts.x <= lid.x - 2 * boss, "the glands' nuts are wider than the base: widen inside.x");
assert(nuts.y <= lid.y - socket.y - 2, "the glands' nuts are deeper than the base: deepen inside.y");
assert(overhang > drip_width + 3, "the drip groove needs an overhang to sit in");
assert(overhang > 0 && skirt > screw_clear + 2 * 1.5, "the skirt must be deep enough for the screws");
assert(socket_depth > stake_width / 2 + plate, "a shallow socket lets the stake wobble");

module rounded(size, radius) {
    linear_extrude(size.z)
        offset(r = radius) square([size.x - 2 * radius, size.y - 2 * radius], center = true);
}

// The hood stands as it is used: open below, roof on top; the base's upper face is at height 0.
module hood() {
    rim = [outside.x + 2 * overhang, outside.y + 2 * overhang, roof];
    foot = -plate - skirt;
    difference() {
        union() {
            translate([0, 0, foot]) rounded(outside, 4);
            translate([0, 0, inside.z]) rounded(rim, 6);
        }
        translate([0, 0, foot - 1]) rounded([inside.x, inside.y, outside.z + 1], 2);
        translate([0, 0, inside.z - 0.01]) difference() {
            rounded([rim.x - 4, rim.y - 4, drip_depth], 5);
            translate([0, 0, -1]) rounded([rim.x - 4 - 2 * drip_width, rim.y - 4 - 2 * drip_width, drip_depth + 2], 4);
        }
        screws(screw_clear);
    }
}

module screws(diameter) {
    translate([-outside.x, 0, -plate - skirt / 2]) rotate([0, 90, 0]) cylinder(d = diameter, h = 2 * outside.x);
}

// The base: a plate inside the hood's walls, glands looking down, a socket for the stake behind them.
module base() {
    difference() {
        union() {
            translate([0, 0, -plate]) rounded(lid, 2);
            for (side = [-1, 1])        // something for the screws to bite into
                translate([side * (lid.x / 2 - boss / 2), 0, -plate - skirt]) rounded([boss, 10, skirt + 1], 1);
            translate([0, socket_y, -socket_depth]) rounded([socket.x, socket.y, socket_depth - 1], 2);
        }
        screws(screw_hole);
        for (gland = [0 : glands - 1])
            translate([
                (gland % columns - (columns - 1) / 2) * gland_step,
                gland_y + (floor(gland / columns) - (rows - 1) / 2) * gland_step,
                -plate - 1
            ]) cylinder(d = gland_hole, h = plate + 2);
        translate([lid.x / 2 - 8, lid.y / 2 - 8, -plate - 1]) cylinder(d = weep_hole, h = plate + 2);
        translate([0, socket_y, -socket_depth - 1])
            linear_extrude(socket_depth - plate + 1)
                square([stake_width + 2 * fit, stake_thick + 2 * fit], center = true);
        translate([0, lid.y, -socket_depth / 2]) rotate([90, 0, 0]) cylinder(d = screw_clear, h = 2 * lid.y);
    }
}

// The stake lies flat for printing: strong along its length.
module stake() {
    tang = socket_depth - plate;
    difference() {
        linear_extrude(stake_thick)
            polygon([
                [-stake_width / 2, 0], [stake_width / 2, 0],
                [stake_width / 2, -stake_length * 0.7], [0, -stake_length], [-stake_width / 2, -stake_length * 0.7],
            ]);
        translate([0, -socket_depth / 2 + plate, -1]) cylinder(d = screw_hole, h = stake_thick + 2);
        for (mark = [1 : 3])            // how deep it stands: a line every 30 mm
            translate([-stake_width / 2 - 1, -tang - 30 * mark, stake_thick - 0.6]) cube([stake_width + 2, 0.8, 1]);
    }
}

// One plate of the sun shield: a shallow dish, hung rim down. The top one has no hole.
module shield_plate(open) {
    slope = 6;
    difference() {
        cylinder(d1 = shield_size, d2 = shield_size - 2 * slope, h = slope);
        translate([0, 0, -2]) cylinder(d1 = shield_size, d2 = shield_size - 2 * slope, h = slope);
        if (open) translate([0, 0, -1]) cylinder(d = shield_room, h = slope + 2);
        for (turn = [0, 120, 240])
            rotate(turn) translate([shield_size / 2 - slope - 5, 0, -1]) cylinder(d = screw_clear, h = slope + 2);
    }
    for (turn = [0, 120, 240])          // spacers
        rotate(turn) translate([shield_size / 2 - slope - 5, 0, open ? 4 : 0]) difference() {
            cylinder(d = 7, h = open ? shield_gap : 4.5);
            translate([0, 0, -1]) cylinder(d = screw_clear, h = shield_gap + 2);
        }
}

module together() {
    hood();
    base();
    translate([0, socket_y, -plate]) rotate([90, 0, 0]) translate([0, 0, -stake_thick / 2]) stake();
}

if (part == "hood") translate([0, 0, inside.z + roof]) rotate([180, 0, 0]) hood();   // roof on the bed
else if (part == "base") rotate([180, 0, 0]) base();   // upper face on the bed
else if (part == "stake") stake();
else if (part == "shield_top") shield_plate(false);
else if (part == "shield_plate") shield_plate(true);
else if (part == "section") projection(cut = true) rotate([0, 90, 0]) together();
else if (part == "together") together();
else if (part == "apart") {
    translate([0, 0, 45]) hood();
    base();
    translate([0, socket_y, -plate - 45]) rotate([90, 0, 0]) translate([0, 0, -stake_thick / 2]) stake();
}
else assert(false, str("no such part: ", part));
