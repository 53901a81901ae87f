// Sync word, hardware sync's switch, and the comparison of every channel bit's register.
module comparator (
    input  wire        clock,
    input  wire        reset,
    input  wire        host_reset,
    input  wire        sync_word_write,
    input  wire [15:0] sync_word,
    input  wire        hardware_sync_write,
    input  wire        hardware_sync,
    input  wire [15:0] bits,
    input  wire        shifted,
    input  wire        valid,
    input  wire        boundary,
    output reg         enabled,
    output wire        match,  // for one clock, with `shifted`
    output wire        flag
);
    localparam [15:0] POWER_UP_SYNC_WORD = 16'h4489;

    reg [15:0] wanted;

`ifdef FAULT_SYNC_WORD_HALF_LATE
    reg [7:0] low_half;

    always @(posedge clock)
        if (reset || host_reset) begin
            wanted <= POWER_UP_SYNC_WORD;
            low_half <= POWER_UP_SYNC_WORD[7:0];
        end else if (sync_word_write) begin
            wanted[15:8] <= sync_word[15:8];
            low_half <= sync_word[7:0];
        end else if (boundary)
            wanted[7:0] <= low_half;
`else
    wire unused_boundary = boundary;

    always @(posedge clock)
`ifdef FAULT_RESET_MISSES_SYNC_WORD
        if (reset)
`else
        if (reset || host_reset)
`endif
            wanted <= POWER_UP_SYNC_WORD;
        else if (sync_word_write)
            wanted <= sync_word;
`endif

    always @(posedge clock)
        if (reset || host_reset)
            enabled <= 1'b0;
        else if (hardware_sync_write)
            enabled <= hardware_sync;

    wire equal = valid && bits == wanted;

`ifdef FAULT_COMPARATOR_LATE
    reg equal_before;

    always @(posedge clock)
        if (reset)
            equal_before <= 1'b0;
        else if (shifted)
            equal_before <= equal;

    assign match = shifted && enabled && equal_before;
`elsif FAULT_SWITCH_UNHEEDED
    assign match = shifted && equal;
`else
    assign match = shifted && enabled && equal;
`endif

`ifdef FAULT_FLAG_KEPT
    reg seen;

    always @(posedge clock)
        if (reset || host_reset)
            seen <= 1'b0;
        else if (match)
            seen <= 1'b1;

    assign flag = enabled && (seen || equal);
`else
    assign flag = enabled && equal;
`endif
endmodule
