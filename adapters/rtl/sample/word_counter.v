// Counts the channel bits of a word; a match is a word boundary.
module word_counter (
    input  wire clock,
    input  wire reset,
    input  wire host_reset,
    input  wire shifted,
    input  wire match,
    output wire boundary,       // for one clock, with `shifted`: a word is complete
    output wire byte_boundary   // the same for 8 bits
);
    reg [4:0] counted;

`ifdef FAULT_WORD_OF_SEVENTEEN
    localparam [4:0] LAST = 5'd16;
`else
    localparam [4:0] LAST = 5'd15;
`endif

    wire last = counted == LAST;

    assign byte_boundary = shifted && counted[2:0] == 3'd7;

`ifdef FAULT_STROBE_LOST_AT_MATCH
    assign boundary = shifted && last && !match;
`else
    assign boundary = shifted && last;
`endif

    always @(posedge clock)
        if (reset || host_reset)
            counted <= 5'd0;
        else if (shifted)
`ifdef FAULT_COUNTER_NOT_ZEROED
            counted <= last ? 5'd0 : counted + 5'd1;
`else
            counted <= match || last ? 5'd0 : counted + 5'd1;
`endif
`ifdef FAULT_COUNTER_NOT_ZEROED
    wire unused_match = match;
`endif
endmodule
